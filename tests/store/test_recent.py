"""What one look at a moment needs of the log is read once, and is what the log has."""

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from sqlalchemy import event
from sqlalchemy.engine import Engine

from watcher.sources.base import Forecast, Observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.store.recent import RecentWeather
from watcher.weather.series import Site, WeatherSeries

NOW = 1_781_107_200
SITE = Site(41.0, -96.0, wind_height_m=2.0)


@contextmanager
def statements() -> Iterator[list[str]]:
    seen: list[str] = []

    def note(_c: object, _cursor: object, statement: str, *_rest: object) -> None:
        if statement.startswith("SELECT"):
            seen.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(Engine, "before_cursor_execute", note)


def keep_a_day(log: Database) -> None:
    times = NOW + 60 * np.arange(-1440, 2)
    readings = WeatherSeries.of(times, SITE, "mast", {"wind_m_s": 3.0 + 0.001 * np.arange(1442)})
    hours = NOW + 3600 * np.arange(-3, 24)
    foretold = WeatherSeries.of(hours, SITE, "feed", {"wind_m_s": np.full(27, 4.0)})
    with log.writing() as session:
        weather.add_observations(session, Observations(readings), NOW)
        weather.add_forecast(session, Forecast(foretold, NOW - 600, NOW - 600, ""))


def test_asked_again_the_log_is_not(log: Database) -> None:
    keep_a_day(log)
    with log.reading() as session:
        recent = RecentWeather(session, NOW)
        recent.readings("mast", 7200)
        recent.hours("mast")
        recent.forecast("feed")
        with statements() as seen:
            recent.readings("mast")
            recent.readings("mast", 7200)
            recent.hours("mast")
            recent.forecast("feed")
            assert weather.site(session, "mast") == SITE
    assert seen == []


def test_readings_asked_for_further_back_are_all_there(log: Database) -> None:
    keep_a_day(log)
    with log.reading() as session:
        recent = RecentWeather(session, NOW)
        assert len(recent.readings("mast", 600).series) == 12  # a minute dated ahead as well
        assert len(recent.readings("mast", 7200).series) == 122
        assert recent.readings("mast", 600).series.times[0] == NOW - 600


def test_hours_end_now_and_the_forecast_is_the_newest(log: Database) -> None:
    keep_a_day(log)
    with log.reading() as session:
        recent = RecentWeather(session, NOW)
        assert recent.hours("mast").series.times.tolist() == list(range(NOW - 86400, NOW, 3600))
        newest = recent.forecast("feed")
        assert newest is not None
        assert newest.issued_at == NOW - 600
        assert RecentWeather(session, NOW - 700).forecast("feed") is None
        assert recent.forecast("nobody") is None
