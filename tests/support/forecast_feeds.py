"""The four feeds that forecast, each with its documented body made of the same hours."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from tests.support.farms import LATITUDE, LONGITUDE
from watcher.sources.base import PolledSource
from watcher.sources.feeds.mapped_json import MappedJsonFeed
from watcher.sources.feeds.met_norway import MetNorwayFeed
from watcher.sources.feeds.nws import UsWeatherServiceFeed
from watcher.sources.feeds.open_meteo import OpenMeteoFeed
from watcher.sources.http import FeedClient
from watcher.weather.series import Site

HOUR = 3600
PAST_H, AHEAD_H = 24, 84
Hours = dict[str, np.ndarray]
"""What a feed says of each hour, SI by the names of ``WeatherSeries``; NaN is null."""


def fair_hours(now: int) -> tuple[np.ndarray, Hours]:
    """Times and three days and a half of fair weather with its days and nights, from a day ago."""
    times = now // HOUR * HOUR + HOUR * np.arange(-PAST_H, AHEAD_H)
    sun = np.sin(2 * np.pi * ((times - 6 * HOUR) % 86_400) / 86_400 - 0.6 * np.pi)
    swing = np.cos(np.arange(times.size) * 0.7)
    wind = 3.9 + 0.1 * sun + 0.1 * swing
    return times, {
        "wind_m_s": wind,
        "gust_m_s": 1.35 * wind,
        "wind_from_deg": 5.0 + 5.0 * swing,
        "temp_c": 18.0 + 4.0 * sun,
        "humidity_pct": 66.0 - 8.0 * sun,
        "dew_point_c": np.full(times.size, 9.0),
        "cloud_pct": 60.0 + 10.0 * swing,
        "rain_mm_h": np.zeros(times.size),
        "rain_chance_pct": np.full(times.size, 5.0),
    }


def _list(values: np.ndarray) -> list[float | None]:
    return [None if np.isnan(v) else float(v) for v in values]


def _iso(time: int) -> str:
    return datetime.fromtimestamp(int(time), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _open_meteo(times: np.ndarray, hours: Hours, issued_at: int) -> dict[str, Any]:
    del issued_at
    keys = {
        "wind_m_s": ("wind_speed_10m", "m/s"),
        "gust_m_s": ("wind_gusts_10m", "m/s"),
        "wind_from_deg": ("wind_direction_10m", "°"),
        "temp_c": ("temperature_2m", "°C"),
        "humidity_pct": ("relative_humidity_2m", "%"),
        "dew_point_c": ("dew_point_2m", "°C"),
        "cloud_pct": ("cloud_cover", "%"),
        "rain_mm_h": ("precipitation", "mm"),
        "rain_chance_pct": ("precipitation_probability", "%"),
    }
    place = {"latitude": LATITUDE, "longitude": LONGITUDE, "elevation": 350.0}
    return place | {
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "hourly_units": {"time": "iso8601"} | dict(keys.values()),
        "hourly": {"time": [_iso(t)[:16] for t in times]}
        | {key: _list(hours[name]) for name, (key, _) in keys.items()},
    }


def _met_norway(times: np.ndarray, hours: Hours, issued_at: int) -> dict[str, Any]:
    keys = {
        "wind_m_s": "wind_speed",
        "gust_m_s": "wind_speed_of_gust",
        "wind_from_deg": "wind_from_direction",
        "temp_c": "air_temperature",
        "humidity_pct": "relative_humidity",
        "dew_point_c": "dew_point_temperature",
        "cloud_pct": "cloud_area_fraction",
    }
    rain = {"rain_mm_h": "precipitation_amount", "rain_chance_pct": "probability_of_precipitation"}
    units = dict.fromkeys(("wind_speed", "wind_speed_of_gust"), "m/s")
    units |= dict.fromkeys(("air_temperature", "dew_point_temperature"), "celsius")
    units |= {"wind_from_direction": "degrees", "precipitation_amount": "mm"}
    units |= dict.fromkeys(
        ("relative_humidity", "cloud_area_fraction", "probability_of_precipitation"), "%"
    )

    def details(at: int, of: Mapping[str, str]) -> dict[str, float]:
        """A missing value is a missing key here, never null."""
        return {key: float(hours[n][at]) for n, key in of.items() if np.isfinite(hours[n][at])}

    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [LONGITUDE, LATITUDE, 350]},
        "properties": {
            "meta": {"updated_at": _iso(issued_at), "units": units},
            "timeseries": [
                {
                    "time": _iso(times[at]),
                    "data": {
                        "instant": {"details": details(at, keys)},
                        "next_1_hours": {"details": details(at, rain)},
                    },
                }
                for at in range(PAST_H, times.size)
            ],
        },
    }


def _nws(times: np.ndarray, hours: Hours, issued_at: int) -> dict[str, Any]:
    keys = {
        "wind_m_s": ("windSpeed", "km_h-1", 3.6),
        "gust_m_s": ("windGust", "km_h-1", 3.6),
        "wind_from_deg": ("windDirection", "degree_(angle)", 1.0),
        "temp_c": ("temperature", "degC", 1.0),
        "humidity_pct": ("relativeHumidity", "percent", 1.0),
        "dew_point_c": ("dewpoint", "degC", 1.0),
        "cloud_pct": ("skyCover", "percent", 1.0),
        "rain_mm_h": ("quantitativePrecipitation", "mm", 1.0),
        "rain_chance_pct": ("probabilityOfPrecipitation", "percent", 1.0),
    }
    west, south = LONGITUDE - 0.01, LATITUDE - 0.01
    east, north = LONGITUDE + 0.01, LATITUDE + 0.01
    ring = [[west, south], [west, north], [east, north], [east, south], [west, south]]
    layers = {
        key: {
            "uom": f"wmoUnit:{unit}",
            "values": [
                {"validTime": f"{_iso(t)[:-1]}+00:00/PT1H", "value": value}
                for t, value in zip(
                    times[PAST_H:], _list(times_of * hours[name][PAST_H:]), strict=True
                )
            ],
        }
        for name, (key, unit, times_of) in keys.items()
    }
    return {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [ring]},
        "properties": {
            "updateTime": f"{_iso(issued_at)[:-1]}+00:00",
            "elevation": {"unitCode": "wmoUnit:m", "value": 350.0},
            **layers,
        },
    }


def _mapped(times: np.ndarray, hours: Hours, issued_at: int) -> dict[str, Any]:
    found = {name: _list(values) for name, values in hours.items()}
    return {"run": int(issued_at), "hours": {"time": times.tolist()} | found}


_MAPPED = {
    "wind": ("hours.wind_m_s", "m/s"),
    "gust": ("hours.gust_m_s", "m/s"),
    "wind_from": ("hours.wind_from_deg", "deg"),
    "temperature": ("hours.temp_c", "degC"),
    "humidity": ("hours.humidity_pct", "%"),
    "dew_point": ("hours.dew_point_c", "degC"),
    "cloud": ("hours.cloud_pct", "%"),
    "rain": ("hours.rain_mm_h", "mm/h"),
    "rain_chance": ("hours.rain_chance_pct", "%"),
}
_POINTS = {"properties": {"gridId": "OAX", "gridX": 1, "gridY": 2}}


@dataclass(frozen=True)
class ForecastFeed:
    """A feed: its entry in the farm file, its source, and where it looks for which body."""

    entry: dict[str, Any]
    source: Callable[[FeedClient], PolledSource]
    body: Callable[[np.ndarray, Hours, int], dict[str, Any]]
    asked_at: str
    tells_the_past: bool

    def bodies(self, times: np.ndarray, hours: Hours, issued_at: int) -> dict[str, Any]:
        """Return the bodies of its addresses for these hours."""
        body = self.body(times, hours, issued_at)
        return {f"/points/{LATITUDE},{LONGITUDE}": _POINTS, self.asked_at: body}


def _at(client: FeedClient) -> dict[str, Any]:
    return {"name": "feed", "client": client, "latitude": LATITUDE, "longitude": LONGITUDE}


FORECAST_FEEDS = {
    "open_meteo": ForecastFeed(
        {"kind": "open_meteo"}, lambda c: OpenMeteoFeed(**_at(c)), _open_meteo, "/forecast", True
    ),
    "met_norway": ForecastFeed(
        {"kind": "met_norway"}, lambda c: MetNorwayFeed(**_at(c)), _met_norway, "/complete", False
    ),
    "nws": ForecastFeed(
        {"kind": "nws"},
        lambda c: UsWeatherServiceFeed(**_at(c)),
        _nws,
        "/gridpoints/OAX/1,2",
        False,
    ),
    "mapped_json": ForecastFeed(
        {
            "kind": "mapped_json",
            "gives": "forecast",
            "url": "https://weather.example/api",
            "every": "30 min",
            "silent_after": "3 h",
            "times": "hours.time",
            "issued": "run",
            "quantities": {name: {"at": at, "unit": unit} for name, (at, unit) in _MAPPED.items()},
        },
        lambda c: MappedJsonFeed(
            name="feed",
            client=c,
            url="https://weather.example/api",
            gives="forecast",
            times="hours.time",
            issued="run",
            quantities=_MAPPED,
            site=Site(LATITUDE, LONGITUDE, 350.0),
            every_s=1800.0,
        ),
        _mapped,
        "/api",
        True,
    ),
}
