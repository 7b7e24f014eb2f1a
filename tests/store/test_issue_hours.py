"""What is held of an issue's hours is what the log has of them, whatever happens to it."""

import contextlib
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.support.new_log import new_log
from tests.support.skies import MORNING
from watcher.sources.base import Forecast
from watcher.store import weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

_SITE = Site(41.0, -96.0)


def _issue(at: int, winds: list[float]) -> Forecast:
    times = [at + 3600 * n for n in range(len(winds))]
    series = WeatherSeries.of(times, _SITE, "feed", {"wind_m_s": winds})
    return Forecast(series, at, at, "")


def _winds(log: Database, before: int) -> list[float]:
    with log.reading() as session:
        found = weather.latest_forecast(session, "feed", before)
    assert found is not None
    return found.series.wind_m_s.tolist()


def _put(log: Database, forecast: Forecast) -> None:
    with log.writing() as session:
        weather.add_forecast(session, forecast)


def test_a_new_issue_is_told_at_once_and_the_old_one_for_its_time(log: Database) -> None:
    _put(log, _issue(MORNING, [3.0, 4.0]))
    assert _winds(log, MORNING) == [3.0, 4.0]
    _put(log, _issue(MORNING + 3600, [5.0, 6.0]))
    assert _winds(log, MORNING + 3600) == [5.0, 6.0]
    assert _winds(log, MORNING) == [3.0, 4.0]


def test_hours_that_join_an_issue_are_told_at_once(log: Database) -> None:
    _put(log, _issue(MORNING, [3.0, 4.0]))
    assert _winds(log, MORNING) == [3.0, 4.0]
    _put(log, replace(_issue(MORNING, [3.0, 4.0, 5.0]), fetched_at=MORNING + 600))
    assert _winds(log, MORNING) == [3.0, 4.0, 5.0]


def test_an_issue_that_was_not_kept_is_not_told(log: Database) -> None:
    _put(log, _issue(MORNING, [3.0, 4.0]))
    assert _winds(log, MORNING) == [3.0, 4.0]
    with contextlib.suppress(RuntimeError), log.writing() as session:
        weather.add_forecast(session, _issue(MORNING + 60, [9.0]))
        raise RuntimeError  # the power goes
    assert _winds(log, MORNING + 3600) == [3.0, 4.0]


def test_two_logs_hold_each_their_own(log: Database, tmp_path: Path) -> None:
    other = new_log(tmp_path / "other.db")
    _put(log, _issue(MORNING, [3.0]))
    _put(other, _issue(MORNING, [7.0]))
    assert (_winds(log, MORNING), _winds(other, MORNING)) == ([3.0], [7.0])
    other.close()


def test_only_a_few_issues_are_held(log: Database) -> None:
    issues = [_issue(MORNING + 60 * n, [float(n)]) for n in range(40)]
    for issue in issues:
        _put(log, issue)
    for _ in range(2):
        assert [_winds(log, issue.issued_at) for issue in issues] == [[float(n)] for n in range(40)]
    [held] = log._info.values()
    assert 0 < len(held) <= 8
    assert all(np.isfinite(series.wind_m_s).all() for series in held.values())
