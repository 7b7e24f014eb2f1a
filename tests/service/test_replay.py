"""Past weather gone through again says what was said, when it was said, and touches nothing."""

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support import job_steps
from tests.support.farms import LATITUDE, LONGITUDE, build, tables, watched_tables
from tests.support.new_log import new_log
from tests.support.receiver import Receiver
from tests.support.running import put_forecast
from watcher.delivery.worker import DeliveryWorker
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.clock import SetClock
from watcher.service.replay import Said, replay
from watcher.service.replay_events import happened, known_before
from watcher.service.transactions import Transactions
from watcher.sources.base import Observations
from watcher.sources.stations.readings import parse
from watcher.store import health, outbox, weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

pytestmark = pytest.mark.long

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
HOUR = 3600
MAST = Site(LATITUDE, LONGITUDE, wind_height_m=0.628)
MPH = 0.44704


@pytest.fixture
def farm() -> Farm:
    return build(watched_tables())


@pytest.fixture
def log(log: Database) -> Database:
    put_forecast(log, NOON)
    with log.writing() as session:
        health.answered(session, "feed", NOON - 600, None)
    return log


@pytest.fixture
def phone() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


def said(
    log: Database, farm: Farm, start: int, end: int, *, every_s: int = 60, **how: Any
) -> list[Said]:
    return list(
        replay(
            FarmArrays.of(farm),
            known_before(log, farm, start, **how),
            happened(log, farm, start, end, **how),
            start=start,
            end=end,
            every_s=every_s,
        )
    )


def minutes(start: int, end: int, **changed: Any) -> WeatherSeries:
    times = np.arange(start, end, 60)
    fair = {
        "wind_m_s": 5 * MPH,
        "gust_m_s": 7 * MPH,
        "wind_from_deg": 0.0,
        "temp_c": 20.0,
        "humidity_pct": 55.0,
    } | changed
    arrays = {name: np.broadcast_to(value, times.size) for name, value in fair.items()}
    return WeatherSeries.of(times, MAST, "mast", arrays)


def keep(log: Database, series: WeatherSeries) -> None:
    with log.writing() as session:
        weather.add_observations(session, Observations(series), 0)  # as if imported


# A gusty spell in the middle of a job, then calm again; after it the mast falls silent.
GUSTS_MPH = [7, 7, 8, 7, 19, 20, 18, 9, 8, 7, 7, 8, *([7] * 20)]
SILENT_MIN = 30


async def live(farm: Farm, log: Database, phone: Receiver) -> list[tuple[str, str]]:
    """The watch as it runs, once a minute: posts read, kept, judged, and sent to the phone."""
    clock = SetClock(NOON)
    watch = Transactions(FarmArrays.of(farm), log, clock)
    urls = {name: phone.url() for name in farm.config.recipients}
    delivery = DeliveryWorker(log, farm, urls, now=clock.now)
    watch.begin()
    for minute, gust in enumerate([*GUSTS_MPH, *([None] * SILENT_MIN)]):
        clock.at = NOON + 60 * minute
        if gust is not None:
            watch.take_in(parse(posted(clock.at, gust), "application/json", **reader(clock.at)))
        if minute == 2:
            with log.writing() as session:
                job_steps.start(session, watch.plan, "hill", "coarse", clock.at)
        watch.judge()
        await delivery.drain()
    return [(push.title, push.body) for push in phone.got]


def reader(now: int) -> dict[str, Any]:
    return {"now": now, "site": MAST, "source": "mast"}


def posted(at: int, gust_mph: int) -> bytes:
    reading = {
        "time": f"{np.datetime64(at, 's')}Z",
        "wind": "5 mph",
        "gust": f"{gust_mph} mph",
        "wind_from": "0 deg",
        "temperature": "68 degF",
        "humidity": "55 %",
    }
    return json.dumps(reading).encode()


async def test_a_recorded_day_says_again_what_the_running_watch_said(
    farm: Farm, log: Database, phone: Receiver
) -> None:
    alerts = await live(farm, log, phone)
    end = NOON + 60 * (len(GUSTS_MPH) + SILENT_MIN)
    again = await asyncio.to_thread(said, log, farm, NOON, end)
    assert len(alerts) >= 8
    assert len({title for title, _ in alerts}) >= 5
    assert sorted((s.title, s.body) for s in again) == sorted(alerts)


def test_it_says_when_and_to_whom(farm: Farm, log: Database) -> None:
    gusts = np.array([7.0] * 10 + [19.0] * 10) * MPH
    keep(log, minutes(NOON, NOON + 20 * 60, gust_m_s=gusts))
    with log.writing() as session:
        job_steps.start(session, FarmArrays.of(farm), "hill", "coarse", NOON + 60)
    alerts = [s for s in said(log, farm, NOON, NOON + 20 * 60) if "hill" in s.title + s.body]
    assert {s.recipient for s in alerts} == {"grower", "operator"}
    assert min(s.at for s in alerts) == NOON + 10 * 60
    assert all(s.urgent for s in alerts)


def test_nothing_of_the_log_changes_and_nothing_is_sent(farm: Farm, log: Database) -> None:
    keep(log, minutes(NOON, NOON + HOUR, gust_m_s=20 * MPH))
    with log.writing() as session:
        job_steps.start(session, FarmArrays.of(farm), "hill", "coarse", NOON + 60)

    def contents() -> list[tuple[object, ...]]:
        with log.reading() as session:
            connection = session.connection()
            names = connection.exec_driver_sql(
                "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
            ).scalars()
            return [
                (name, *row)
                for name in names.all()
                for row in connection.exec_driver_sql(f"SELECT * FROM {name}").all()
            ]

    before = contents()
    assert said(log, farm, NOON, NOON + HOUR)
    assert contents() == before
    with log.reading() as session:
        assert outbox.counts(session) == {}


class TestJobs:
    def test_steps_of_a_job_are_taken_at_their_times(self, farm: Farm, log: Database) -> None:
        """Over the bound while it is paused: nothing is said until it goes on."""
        gusts = np.array([7.0] * 10 + [19.0] * 20) * MPH
        keep(log, minutes(NOON, NOON + 30 * 60, gust_m_s=gusts))
        with log.writing() as session:
            job = job_steps.start(session, FarmArrays.of(farm), "hill", "coarse", NOON + 60)
            job_steps.pause(session, job.id, NOON + 5 * 60)
            job_steps.finish(session, job.id, NOON + 8 * 60)
        alerts = said(log, farm, NOON, NOON + 30 * 60)
        assert not [s for s in alerts if s.urgent]

    def test_a_job_of_a_field_that_is_gone_is_left_out(self, farm: Farm, log: Database) -> None:
        keep(log, minutes(NOON, NOON + 10 * 60))
        with log.writing() as session:
            job_steps.started(
                session, field="sold", setup="coarse", sprayer="boom", at=NOON, planned_s=600.0
            )
        said(log, farm, NOON, NOON + 10 * 60)


class TestArrival:
    def test_a_reading_counts_from_when_it_came_in(self, farm: Farm, log: Database) -> None:
        """Measured over the bound at minute ten, received at minute fifteen."""
        keep_at = NOON + 15 * 60
        with log.writing() as session:
            calm = minutes(NOON, NOON + 10 * 60)
            weather.add_observations(session, Observations(calm), NOON + 9 * 60)
            late = minutes(NOON + 10 * 60, NOON + 12 * 60, gust_m_s=19 * MPH)
            weather.add_observations(session, Observations(late), keep_at)
            job_steps.start(session, FarmArrays.of(farm), "hill", "coarse", NOON + 60)
        alerts = [s for s in said(log, farm, NOON, NOON + 20 * 60) if "gust" in s.title]
        assert min(s.at for s in alerts) == keep_at

    def test_what_was_imported_long_after_counts_from_its_own_time(
        self, farm: Farm, log: Database
    ) -> None:
        with log.writing() as session:
            series = minutes(NOON, NOON + 20 * 60, gust_m_s=19 * MPH)
            weather.add_observations(session, Observations(series), NOON + 90 * 86_400)
            job_steps.start(session, FarmArrays.of(farm), "hill", "coarse", NOON + 60)
        assert said(log, farm, NOON, NOON + 20 * 60)


class TestForesight:
    def test_the_weather_that_came_is_its_forecast(self, farm: Farm, tmp_path: Path) -> None:
        """A log without forecasts: with foresight the morning brief finds hours to spray in."""
        config = tables()
        measures = ["wind", "gust", "wind_from", "temperature", "humidity", "rain", "cloud"]
        config["sources"] = {
            "mast": {"kind": "push", "heights": {"wind": "0.628 m"}, "measures": measures},
            "feed": {"kind": "met_norway"},
        }
        farm = build(config)
        log = new_log(tmp_path / "other.db")
        start = NOON - 8 * HOUR
        keep(log, minutes(start - 30 * HOUR, start + 60 * HOUR, rain_mm_h=0.0, cloud_pct=60.0))
        blind = said(log, farm, start, start + 4 * HOUR, every_s=600)
        seeing = said(log, farm, start, start + 4 * HOUR, every_s=600, foresight=True)
        log.close()
        brief = [s for s in seeing if s.recipient == "grower" and "hill" in s.title + s.body]
        assert brief
        assert not [s for s in blind if "hill" in s.title]


def test_a_coarser_step_says_the_same_later(farm: Farm, log: Database) -> None:
    gusts = np.array([7.0] * 10 + [19.0] * 30) * MPH
    keep(log, minutes(NOON, NOON + 40 * 60, gust_m_s=gusts))
    with log.writing() as session:
        job_steps.start(session, FarmArrays.of(farm), "hill", "coarse", NOON + 60)
    fine, coarse = (said(log, farm, NOON, NOON + 40 * 60, every_s=s) for s in (60, 600))
    first = [min(s.at for s in alerts if s.urgent) for alerts in (fine, coarse)]
    assert first[0] <= first[1] < first[0] + 600
