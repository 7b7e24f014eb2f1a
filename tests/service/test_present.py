"""When a watch judges the hours ahead: with a new issue, a new hour, an edit, and not a reading."""

import numpy as np
import pytest

from tests.service.test_watch import NOON
from tests.support.farms import build, watched_tables
from tests.support.running import SetClock, put_forecast
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.snapshot import take
from watcher.service.transactions import Transactions
from watcher.sources.base import Observations
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

MAST = Site(41.0, -96.5, 300.0, wind_height_m=3.0)
MINUTE = 60


def readings(times: np.ndarray, wind_m_s: float = 2.2) -> Observations:
    jitter = (times // MINUTE % 7 - 3) / 100  # readings that never change are a stuck sensor's
    values = {"wind_m_s": wind_m_s, "gust_m_s": wind_m_s + 1, "temp_c": 20.0, "humidity_pct": 55.0}
    columns = {name: value + jitter for name, value in values.items()}
    columns["wind_from_deg"] = np.full(times.shape, 10.0) + jitter
    return Observations(WeatherSeries.of(times, MAST, "mast", columns))


class Told:
    """A watch that is given readings, a minute apart."""

    def __init__(self, store: Database) -> None:
        self.store, self.clock = store, SetClock(NOON)
        self.transactions = Transactions(FarmArrays.of(build(watched_tables())), store, self.clock)
        put_forecast(store, NOON)
        self.transactions.begin()
        self.clock.at += 3600 + MINUTE  # what the forecast is off by is of a whole hour
        self.transactions.take_posted(readings(np.arange(NOON, self.clock.at, MINUTE)))
        self.minute()

    def minute(self, wind_m_s: float = 2.2) -> None:
        self.clock.at += MINUTE
        self.transactions.take_posted(readings(np.array([self.clock.at]), wind_m_s))
        self.transactions.judge()

    def ahead(self) -> int:
        """How often the hours ahead were judged so far."""
        return self.transactions.present.judged_ahead


@pytest.fixture
def told(log: Database) -> Told:
    return Told(log)


def test_ten_readings_judge_the_present_only(told: Told) -> None:
    before = told.ahead()
    for _ in range(10):
        told.minute()
    assert told.ahead() == before


def test_a_new_issue_judges_the_hours_ahead_once(told: Told) -> None:
    before = told.ahead()
    put_forecast(told.store, told.clock.at, wind_m_s=4.0)
    told.minute()
    told.minute()
    assert told.ahead() == before + 1


def test_a_new_hour_does(told: Told) -> None:
    before_the_hour = told.clock.at // 3600 * 3600 + 3600 - MINUTE
    told.transactions.take_posted(readings(np.arange(told.clock.at, before_the_hour, MINUTE)))
    told.clock.at = before_the_hour
    told.minute()
    before = told.ahead()
    for _ in range(10):
        told.minute()
    assert told.ahead() == before + 1


def test_an_edit_of_the_farm_does(told: Told) -> None:
    before = told.ahead()
    tables = watched_tables()
    tables["windows"]["contact"]["wind"] = {"low": "3 mph", "high": "9 mph"}
    told.transactions.use(FarmArrays.of(build(tables)))
    told.minute()
    assert told.ahead() == before + 1


def test_a_wind_that_rises_moves_the_hours_ahead_at_once(told: Told) -> None:
    """Where the forecast is off by more than it was, no hour has to pass."""
    before = told.ahead()
    for _ in range(40):
        told.minute(wind_m_s=5.0)
    assert told.ahead() > before


def test_whoever_looks_beside_the_watch_sees_the_same_hours(told: Told) -> None:
    """A command in a process of its own has nothing but the log."""
    for _ in range(5):
        told.minute()
    ours = told.transactions.judge()
    with told.store.reading() as session:
        theirs = take(session, told.transactions.plan, told.clock.at)
    np.testing.assert_array_equal(ours.judgement.status, theirs.judgement.status)
    np.testing.assert_array_equal(ours.judgement.breaks_at, theirs.judgement.breaks_at)
    np.testing.assert_array_equal(ours.timeline.series.wind_m_s, theirs.timeline.series.wind_m_s)
