"""MET Norway Locationforecast 2.0: hourly forecast of one place
(https://api.met.no/weatherapi/locationforecast/2.0/documentation).

Worldwide, but gusts only for the Nordic and Arctic short range: elsewhere they are unknown, which
is not zero. Its pressure is reduced to sea level, which is not the station pressure that
``WeatherSeries`` means, and is left out.
"""

from collections.abc import Sequence
from functools import partial

import numpy as np
from pydantic import Field

from watcher.sources.base import Forecast, GivenValues, Polled, Statistic
from watcher.sources.feeds.body import (
    HOUR_S,
    check_current,
    in_si,
    numbers,
    over_both_hours,
    utc_epoch,
)
from watcher.sources.http import FeedClient
from watcher.sources.json_text import Body, fit
from watcher.units import Kind
from watcher.weather.series import Seconds, Site, WeatherSeries

ATTRIBUTION = (
    "Data from MET Norway (https://www.met.no/), CC BY 4.0 "
    "(https://creativecommons.org/licenses/by/4.0/); units changed"
)
BASE_URL = "https://api.met.no/weatherapi/locationforecast/2.0"
MAX_AGE_S = 24 * HOUR_S
"""An older ``updated_at`` is an error; up to 10 h were recorded in good answers."""
MAX_APART_DEG = 0.1

_INSTANT = {
    "wind_m_s": ("wind_speed", Kind.SPEED),
    "gust_m_s": ("wind_speed_of_gust", Kind.SPEED),
    "wind_from_deg": ("wind_from_direction", Kind.ANGLE),
    "temp_c": ("air_temperature", Kind.TEMPERATURE),
    "humidity_pct": ("relative_humidity", Kind.PERCENT),
    "dew_point_c": ("dew_point_temperature", Kind.TEMPERATURE),
    "cloud_pct": ("cloud_area_fraction", Kind.PERCENT),
}
_OF_NEXT_HOUR = {
    "rain_mm_h": ("precipitation_amount", Kind.RAIN_RATE),
    "rain_chance_pct": ("probability_of_precipitation", Kind.PERCENT),
}
_STATISTICS: dict[str, tuple[Statistic, int]] = {
    "wind_m_s": ("mean", 600),
    "gust_m_s": ("maximum", HOUR_S),  # of which hour the feed does not say
    "rain_mm_h": ("sum", HOUR_S),
    "rain_chance_pct": ("probability", HOUR_S),
}
"""What each quantity tells of how long an interval [s]; else of the moment."""
# A sum over one hour is a rate per hour.
_SPELLINGS = {"celsius": "degC", "degrees": "deg", "mm": "mm/h"}


class _Details(Body):
    details: dict[str, object] = Field(default_factory=dict)


class _Data(Body):
    instant: _Details
    next_1_hours: _Details = _Details()


class _Step(Body):
    time: str
    data: _Data


class _Meta(Body):
    updated_at: str
    units: dict[str, str]


class _Properties(Body):
    meta: _Meta
    timeseries: list[_Step]


class _Point(Body):
    coordinates: list[float]


class _Feature(Body):
    geometry: _Point
    properties: _Properties


class MetNorwayFeed:
    """The forecast for a place. ``elevation_m`` is the place's own; it adjusts temperatures."""

    attribution = ATTRIBUTION

    def __init__(
        self,
        *,
        name: str,
        client: FeedClient,
        latitude: float,
        longitude: float,
        elevation_m: float | None = None,
        every_s: float = 1800.0,
        base_url: str = BASE_URL,
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._client = client
        self._place = latitude, longitude
        self._url = f"{base_url.rstrip('/')}/complete"
        # More than four decimals are answered with 403.
        self._params = {"lat": str(round(latitude, 4)), "lon": str(round(longitude, 4))}
        if elevation_m is not None:
            self._params["altitude"] = f"{elevation_m:.0f}"

    async def poll(self, now: int) -> Polled:
        """Return the forecast. Raises ``SourceError``."""
        read = partial(_read, source=self.name, place=self._place)
        answer = await self._client.get(self._url, read=read, now=now, params=self._params)
        issued_at, series, given = answer.data
        check_current(series, issued_at=issued_at, max_age_s=MAX_AGE_S, now=now)
        at = answer.fetched_at
        forecast = Forecast(series, issued_at, at, self.attribution, run_at=issued_at, given=given)
        return Polled(forecast=forecast)


def _read(
    body: object, *, source: str, place: tuple[float, float]
) -> tuple[int, WeatherSeries, tuple[GivenValues, ...]]:
    issued_at, series = forecast_of(body, source=source, place=place)
    return issued_at, series, _as_given(fit(_Feature, body))


def _as_given(feature: _Feature) -> tuple[GivenValues, ...]:
    """Return what the body says, the six-hourly steps too; their sums of six hours are not read."""
    steps, units = feature.properties.timeseries, feature.properties.meta.units
    times = np.array([utc_epoch(step.time) for step in steps], dtype=np.int64)
    found = []
    for name, (key, kind) in (_INSTANT | _OF_NEXT_HOUR).items():
        values = numbers([_details(step, name).get(key) for step in steps], key)
        if np.isnan(values).all():
            continue
        statistic, interval = _STATISTICS.get(name, ("instant", 0))
        intervals = np.full(times.shape, interval, dtype=np.int64)
        values = in_si(values, units.get(key), kind, _SPELLINGS)
        found.append(GivenValues(name, statistic, times, intervals, values))
    return tuple(found)


def forecast_of(
    body: object, *, source: str, place: tuple[float, float]
) -> tuple[int, WeatherSeries]:
    """Return issue time and hourly series of a body; ``ValueError`` if it is not as documented.

    Steps that are not followed by another one an hour later are left out: the six-hourly tail
    says nothing of the hours between. A gust is the larger of its own and the next step's, as the
    feed does not say which hour it is the highest of.
    """
    feature = fit(_Feature, body)
    steps, units = feature.properties.timeseries, feature.properties.meta.units
    times = np.array([utc_epoch(step.time) for step in steps], dtype=np.int64)
    found = {}
    for name, (key, kind) in (_INSTANT | _OF_NEXT_HOUR).items():
        values = numbers([_details(step, name).get(key) for step in steps], key)
        if not np.isnan(values).all():
            found[name] = in_si(values, units.get(key), kind, _SPELLINGS)
    if "gust_m_s" in found:
        found["gust_m_s"] = over_both_hours(found["gust_m_s"])
    series = WeatherSeries.of(times, _site(feature.geometry.coordinates, place), source, found)
    return utc_epoch(feature.properties.meta.updated_at), series.at(_hourly(series.times))


def _details(step: _Step, name: str) -> dict[str, object]:
    return (step.data.instant if name in _INSTANT else step.data.next_1_hours).details


def _hourly(times: Seconds) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.append(np.diff(times) == HOUR_S, np.zeros(min(1, times.size), dtype=np.bool_))


def _site(coordinates: Sequence[float], place: tuple[float, float]) -> Site:
    if len(coordinates) != 3:
        raise ValueError("geometry.coordinates is not longitude, latitude and altitude")
    longitude, latitude, altitude = coordinates
    if max(abs(latitude - place[0]), abs(longitude - place[1])) > MAX_APART_DEG:
        raise ValueError(f"it is for {latitude}, {longitude}, not {place}")
    return Site(latitude, longitude, altitude)
