"""What comes from the future, by a clock that is wrong: never fresh, never said, no lost trust."""

import numpy as np
import pytest

from tests.support.farms import build, watched_tables
from tests.support.running import SetClock, put_forecast
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.transactions import Transactions
from watcher.source_view import distrusted
from watcher.sources.base import Flag, Observations
from watcher.sources.quality.check import future_flags
from watcher.store import aggregates, shifting, weather
from watcher.store.database import Database
from watcher.store.recent import RecentWeather
from watcher.weather.bins import HOUR_S
from watcher.weather.series import Site, WeatherSeries

NOON = 1_781_107_200
DAY_S = 86_400


@pytest.fixture
def farm() -> Farm:
    return build(watched_tables())


def readings(now: int, count: int = 60, *, read_at: int | None = None) -> Observations:
    """A reading a minute up to now, as a clock that shows ``read_at`` takes them."""
    times = now - 60 * np.arange(count)[::-1]
    values = {
        "wind_m_s": 2.2 + 0.3 * np.sin(np.arange(count)),
        "gust_m_s": 3.0 + 0.3 * np.sin(np.arange(count)),
        "wind_from_deg": 10.0 * np.sin(np.arange(count)) % 360.0,
        "temp_c": 20.0 + 0.1 * np.sin(np.arange(count)),
        "humidity_pct": 55.0 + np.sin(np.arange(count)),
    }
    series = WeatherSeries.of(times, Site(41.0, -96.0, wind_height_m=3.0), "mast", values)
    return Observations(series, future_flags(times, values, now if read_at is None else read_at))


def test_of_a_clock_a_day_back_nothing_is_fresh_and_the_contradiction_is_said(
    farm: Farm, log: Database
) -> None:
    clock = SetClock(NOON)
    put_forecast(log, NOON)
    transactions = Transactions(FarmArrays.of(farm), log, clock)
    transactions.begin()
    transactions.take_in(readings(NOON))
    assert transactions.judge().ranking.every["hill"].status >= Status.MARGINAL
    assert transactions.health(NOON).clock is None
    clock.at -= DAY_S
    assert transactions.judge().ranking.every["hill"].status is Status.UNKNOWN
    health = transactions.health(clock.at)
    mast = health.sources[0]
    assert (mast.name, mast.silent) == ("mast", True)
    assert mast.age_s is None or mast.age_s >= 0
    assert not health.well
    assert health.clock is not None
    assert "mast contradict each other: they are ahead by 24 h" in str(health.clock)


def test_a_forecast_that_came_in_the_future_is_not_relied_on(farm: Farm, log: Database) -> None:
    put_forecast(log, NOON + 2 * 3600)
    put_forecast(log, NOON - DAY_S)
    transactions = Transactions(FarmArrays.of(farm), log, SetClock(NOON))
    snapshot = transactions.judge()
    assert np.isnan(snapshot.timeline.series.cloud_pct[snapshot.timeline.now_index])


def test_a_station_that_comes_back_from_the_future_is_well_again(farm: Farm, log: Database) -> None:
    transactions = Transactions(FarmArrays.of(farm), log, SetClock(NOON))
    transactions.take_in(readings(NOON + 7200, read_at=NOON))
    assert transactions.health(NOON).clock is not None
    transactions.take_in(readings(NOON))
    assert transactions.health(NOON).clock is None


def test_a_wrong_time_costs_a_station_no_trust(farm: Farm, log: Database) -> None:
    ahead = readings(NOON + 600, 600, read_at=NOON - DAY_S)
    assert ahead.flags["wind_m_s"].all()
    with log.writing() as session:
        weather.add_observations(session, ahead, NOON - DAY_S)
    with log.reading() as session:
        assert distrusted(RecentWeather(session, NOON + 660), "mast") == ()
        bins = aggregates.bins(session, "mast", HOUR_S, NOON - 36_000, NOON + 3600)
    assert np.isnan(bins.series.wind_m_s).all()


def test_what_only_the_wrong_clock_found_is_taken_back_when_it_is_set(log: Database) -> None:
    wrong = NOON - DAY_S
    ahead = readings(NOON, 30, read_at=wrong)
    ahead.flags["temp_c"][3] |= np.uint16(Flag.STEP)
    with log.writing() as session:
        weather.add_observations(session, ahead, wrong)
        shifting.shift(session, wrong - 60, wrong + 60, DAY_S)
        kept = weather.observations(session, "mast", 0, NOON + 1)
        hours = aggregates.bins(session, "mast", HOUR_S, NOON - 7200, NOON + 3600)
    assert set(kept.flags) == {"temp_c"}
    assert np.flatnonzero(kept.flags["temp_c"]).tolist() == [3]
    assert hours.known["wind_m_s"].sum() == 30


def test_readings_dated_by_our_own_clock_move_with_it_and_others_stay(log: Database) -> None:
    wrong = NOON - DAY_S
    with log.writing() as session:
        for minute in range(5):
            at = wrong + 60 * minute
            weather.add_observations(session, readings(at, 1), at)
        weather.add_observations(session, readings(NOON - 3 * DAY_S, 5), NOON - 3 * DAY_S)
        shifting.shift(session, wrong, wrong + 240, DAY_S)
        times = weather.observations(session, "mast", 0, NOON + DAY_S).series.times
    then, now = NOON - 3 * DAY_S, NOON
    assert times.tolist() == [
        *range(then - 240, then + 1, 60),
        *range(now, now + 241, 60),
    ]
