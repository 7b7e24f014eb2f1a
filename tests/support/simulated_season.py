"""Simulated seasons of an invented farm: each of two fields has its wind in two hours a day."""

from collections.abc import Mapping
from datetime import date, time, timedelta
from typing import Any

import numpy as np

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from watcher.farm import Farm
from watcher.messages.wall_clock import wall_instant
from watcher.sources.base import Forecast, Observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

HOUR = 3600
FIRST = date(2026, 6, 10)
AT_BOOM = 0.628  # m: the height at which the wind is asked for
MEASURES = ["wind", "gust", "wind_from", "temperature", "humidity", "rain"]
WINDS = {"hill": 2.5, "creek_side": 8.0}  # m/s: each is fit for one field only
STILL = 0.2  # m/s: fit for none
Windows = Mapping[str, int]
"""The hour from which on a field has two hours of its wind."""


def farm(**hill: Any) -> Farm:
    config: dict[str, Any] = tables()
    place = {"place": [LATITUDE, LONGITUDE], "measures": MEASURES}
    config["sources"] = {
        "mast": {"kind": "push", "heights": {"wind": f"{AT_BOOM} m"}} | place,
        "feed": {"kind": "met_norway"},
    }
    config["neighbours"] = {}
    for name, entry in config["fields"].items():
        entry |= {"setups": ["coarse"], "window": name}
    config["fields"]["hill"] |= hill
    config["windows"] = {
        name: {"wind": {"low": low, "high": high}, "gust": {"high": "40 mph"}}
        for name, low, high in (("hill", "3 mph", "10 mph"), ("creek_side", "13 mph", "25 mph"))
    }
    return build(config)


ZONE = farm().zone


def at(day: int, hour: int) -> int:
    return wall_instant(FIRST + timedelta(days=day), time(hour), ZONE)


def series(source: str, times: np.ndarray, windows: Mapping[int, Windows]) -> WeatherSeries:
    wind = np.full(times.size, STILL)
    for day, fields in windows.items():
        for field, hour in fields.items():
            wind[(times >= at(day, hour)) & (times < at(day, hour + 2))] = WINDS[field]
    values = {
        "wind_m_s": wind,
        "gust_m_s": 1.2 * wind,
        "wind_from_deg": np.full(times.size, 200.0),
        "temp_c": np.full(times.size, 20.0),
        "humidity_pct": np.full(times.size, 60.0),
        "rain_mm_h": np.zeros(times.size),
    }
    if source == "feed":
        values["cloud_pct"] = np.full(times.size, 60.0)
    site = Site(LATITUDE, LONGITUDE, elevation_m=350.0, wind_height_m=AT_BOOM)
    return WeatherSeries.of(times, site, source, values)


def keep(
    log: Database,
    foretold: Mapping[int, Windows],
    came: Mapping[int, Windows],
    silent: tuple[int, ...] = (),
) -> None:
    """Write a season: an issue early each day that has one, readings of each day but some."""
    with log.writing() as session:
        for day in foretold:
            issued = at(day, 4)
            times = issued + HOUR * np.arange(60)
            found = Forecast(series("feed", times, foretold), issued, issued, "simulated")
            weather.add_forecast(session, found)
        for day in range(-2, max((*came, *silent)) + 2):
            if day not in silent:
                times = np.arange(at(day, 0), at(day + 1, 0), 300)
                weather.add_observations(session, Observations(series("mast", times, came)), None)
