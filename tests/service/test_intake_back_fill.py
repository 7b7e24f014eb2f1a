"""A station that was cut off brings what it measured meanwhile: kept, and no old weather told."""

import numpy as np
import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import LATITUDE, LONGITUDE, build, watched_tables
from tests.support.running import SetClock, put_forecast
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.transactions import Transactions
from watcher.sources.base import Observations
from watcher.store import aggregates
from watcher.store.database import Database
from watcher.store.tables import Outgoing
from watcher.weather.bins import TEN_MINUTES_S
from watcher.weather.series import Site, WeatherSeries

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
MINUTE = 60
CALM_GUST, FORBIDDEN_GUST = 3.0, 9.0  # m/s; the farm's bound is 15 mph = 6.7 m/s
BACK = NOON + 100 * MINUTE


@pytest.fixture
def farm() -> Farm:
    return build(watched_tables())


@pytest.fixture
def log(log: Database) -> Database:
    for at in range(NOON, NOON + 3 * 3600, 1800):
        put_forecast(log, at)
    return log


@pytest.fixture
def watch(farm: Farm, log: Database) -> Transactions:
    """A watch that saw a job begin in calm air, and its station fall silent for an hour."""
    clock = SetClock(NOON)
    watch = Transactions(FarmArrays.of(farm), log, clock)
    for minute in range(-30, 10):
        clock.at = NOON + minute * MINUTE
        watch.take_in(readings(clock.at, clock.at + 1))
    with log.writing() as session:
        job_steps.start(session, watch.plan, "hill", "coarse", clock.at)
    watch.judge()
    clock.at = BACK
    watch.judge()
    return watch


def readings(start: int, end: int, gusty: tuple[int, int] = (0, 0)) -> Observations:
    times = np.arange(start, end, MINUTE)
    gust = np.where((times >= gusty[0]) & (times < gusty[1]), FORBIDDEN_GUST, CALM_GUST)
    values = {
        "wind_m_s": np.where(gust > CALM_GUST, 5.0, 2.2) + 0.1 * (times // MINUTE % 3),
        "gust_m_s": gust,
        "wind_from_deg": 10.0 + times // MINUTE % 5,
        "temp_c": 20.0 + 0.1 * (times // MINUTE % 4),
        "humidity_pct": 55.0 + times // MINUTE % 3,
    }
    site = Site(LATITUDE, LONGITUDE, wind_height_m=0.628)
    return Observations(WeatherSeries.of(times, site, "mast", values))


def test_a_gust_that_passed_meanwhile_is_kept_and_raises_no_alert(
    watch: Transactions, log: Database
) -> None:
    before = len(messages(log))
    filled = readings(NOON + 10 * MINUTE, BACK + 1, gusty=(NOON + 20 * MINUTE, NOON + 50 * MINUTE))
    assert watch.take_in(filled) == len(filled.series)
    watch.judge()
    assert not any("gust" in text.lower() for text in messages(log)[before:])
    with log.reading() as session:
        kept = aggregates.bins(session, "mast", TEN_MINUTES_S, NOON, BACK)
    assert kept.series.gust_m_s.max() == FORBIDDEN_GUST


def test_a_gust_of_now_that_comes_with_it_is_told(watch: Transactions, log: Database) -> None:
    before = len(messages(log))
    watch.take_in(readings(NOON + 10 * MINUTE, BACK + 1, gusty=(BACK - 5 * MINUTE, BACK + 1)))
    watch.judge()
    assert any("gust" in text.lower() for text in messages(log)[before:])


def messages(log: Database) -> list[str]:
    with log.reading() as session:
        rows = session.execute(select(Outgoing.title, Outgoing.body).order_by(Outgoing.id))
        return [f"{title}\n{body}" for title, body in rows]
