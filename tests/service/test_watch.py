"""The running service over real HTTP: readings in, judged, messages out."""

import asyncio
import logging
from collections.abc import AsyncGenerator, Iterator

import numpy as np
import pytest

from tests.support import job_steps
from tests.support.farms import build, watched_tables
from tests.support.receiver import Receiver
from tests.support.running import Running, SetClock, put_forecast, running
from watcher.farm import Farm
from watcher.limits.status import Status
from watcher.sources.base import Observations, Polled, SourceError
from watcher.store import aggregates, health, outbox, statuses, weather
from watcher.store.aggregates import DAY_S
from watcher.store.database import Database
from watcher.weather.bins import HOUR_S
from watcher.weather.series import Site, WeatherSeries

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
CALM = {
    "wind": "5 mph",
    "gust": "7 mph",
    "wind_from": "0 deg",
    "temperature": "68 degF",
    "humidity": "55 %",
}


@pytest.fixture
def farm() -> Farm:
    return build(watched_tables())


@pytest.fixture
def store(log: Database) -> Database:
    put_forecast(log, NOON)
    return log


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


def ranked(service: Running) -> dict[str, Status]:
    assert service.watch.snapshot is not None
    return {name: f.status for name, f in service.watch.snapshot.ranking.every.items()}


async def test_without_a_reading_nothing_is_suitable(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        assert set(ranked(service).values()) == {Status.UNKNOWN}


async def test_a_posted_reading_is_judged(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        answer = (await service.post(**CALM)).json()
        assert (answer["taken"], answer["new"], answer["doubted"]) == (1, 1, [])
        await service.judged()
        assert ranked(service)["hill"] is Status.SUITABLE


async def test_a_correction_of_a_known_second_is_judged_at_once(
    farm: Farm, store: Database
) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        await service.post(**CALM)
        await service.judged()
        assert (await service.post(gust="30 mph")).json()["new"] == 1
        # Well before it would be judged anyhow, after half a minute.
        async with asyncio.timeout(20), service.watch.changed:
            await service.watch.changed.wait_for(
                lambda: ranked(service)["hill"] is Status.UNSUITABLE
            )


async def test_a_repeat_wakes_nobody(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        await service.post(**CALM)
        await service.judged()
        await service.rested()
        judged = service.watch.judged
        await service.post(**CALM)
        assert not service.watch._wake.is_set()
        await service.rested()
        assert service.watch.judged == judged


async def test_wind_and_temperature_posted_apart_are_judged_together(
    farm: Farm, store: Database
) -> None:
    wind = {name: value for name, value in CALM.items() if name.startswith(("wind", "gust"))}
    async with running(farm, store, SetClock(NOON)) as service:
        await service.post(**wind)
        await service.post(temperature=CALM["temperature"], humidity=CALM["humidity"])
        await service.judged()
        assert ranked(service)["hill"] is Status.SUITABLE


async def test_a_reading_of_45_minutes_ago_makes_every_field_unknown(
    farm: Farm, store: Database
) -> None:
    clock = SetClock(NOON)
    async with running(farm, store, clock) as service:
        await service.post(**CALM)
        clock.at += 45 * 60
        await service.judged()
        assert set(ranked(service).values()) == {Status.UNKNOWN}


async def test_posting_again_changes_nothing(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        await service.post(**CALM)
        answer = (await service.post(**CALM)).json()
        assert (answer["taken"], answer["new"]) == (1, 0)


async def test_an_implausible_reading_is_kept_but_not_used(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        await service.post(**CALM | {"wind": "200 m/s", "gust": "210 m/s"})
        await service.judged()
        assert set(ranked(service).values()) == {Status.UNKNOWN}
    with store.reading() as session:
        kept = weather.observations(session, "mast", NOON, NOON + 1)
    assert kept.series.wind_m_s[0] == pytest.approx(200.0)
    assert kept.flags["wind_m_s"][0] != 0


async def test_a_wrong_token_is_refused(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        service.http.headers["Authorization"] = "Bearer something-else"
        assert (await service.post(**CALM)).status_code == 401


async def test_an_unknown_station_is_refused_in_the_same_words(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        known = await service.http.post(
            "/api/v1/stations/mast/readings", json={}, headers={"Authorization": "Bearer no"}
        )
        unknown = await service.http.post("/api/v1/stations/nobody/readings", json={})
    assert (unknown.status_code, unknown.json()) == (known.status_code, known.json())


async def test_a_bad_reading_is_refused_with_its_key_and_mend(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        answer = await service.post(wind="5")
        assert answer.status_code == 422
        assert "'wind'" in answer.json()["wrong"]


async def test_a_body_that_is_too_large_is_refused(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        answer = await service.http.post("/api/v1/stations/mast/readings", content=b" " * 1_200_000)
        assert answer.status_code == 413


async def test_wind_rising_during_a_job_is_pushed(
    farm: Farm, store: Database, receiver: Receiver
) -> None:
    clock = SetClock(NOON)
    urls = {"grower": receiver.url()}
    async with running(farm, store, clock, urls=urls) as service:
        await service.post(**CALM)
        await service.judged()
        plan = service.watch.transactions.plan
        with store.writing() as session:
            job_steps.start(session, plan, "hill", "coarse", NOON)
        await service.judged()
        clock.at += 60
        await service.post(**CALM | {"wind": "11 mph", "gust": "19 mph"})
        await service.judged()
    [push, *_] = receiver.wait_for(1)
    assert "hill" in push.title + push.body
    assert "gust" in push.title + push.body


async def test_changes_of_status_are_kept_with_their_reasons(farm: Farm, store: Database) -> None:
    clock = SetClock(NOON)
    async with running(farm, store, clock) as service:
        await service.post(**CALM)
        await service.judged()
        clock.at += 60
        await service.post(**CALM | {"gust": "19 mph"})
        await service.judged()
    with store.reading() as session:
        kept = statuses.history(session, "hill", NOON - 3600, NOON + 3600)
    assert [change.status for change in kept] == ["unknown", "suitable", "unsuitable"]
    assert kept[-1].reasons[0]["limit"] == "gust"


async def test_a_status_that_stands_over_a_restart_is_kept_once(
    farm: Farm, store: Database
) -> None:
    clock = SetClock(NOON)
    for _ in range(2):
        async with running(farm, store, clock) as service:
            await service.post(**CALM)
            await service.judged()
        clock.at += 60
    with store.reading() as session:
        kept = statuses.history(session, "hill", NOON - 3600, NOON + 3600)
    assert [change.status for change in kept] == ["unknown", "suitable"]


async def test_health_names_what_is_stale(farm: Farm, store: Database) -> None:
    async with running(farm, store, SetClock(NOON)) as service:
        await service.post(**CALM)
        await service.judged()
        answer = await service.http.get("/health")
    stale = {s["name"]: s["stale"] for s in answer.json()["sources"]}
    assert stale == {"mast": False, "feed": True}
    assert answer.status_code == 503


async def test_messages_wait_in_the_outbox_when_nobody_can_be_reached(
    farm: Farm, store: Database
) -> None:
    clock = SetClock(NOON)
    async with running(farm, store, clock) as service:
        await service.post(**CALM)
        await service.judged()
        with store.writing() as session:
            job_steps.start(session, service.watch.transactions.plan, "hill", "coarse", NOON)
        await service.judged()
        clock.at += 60
        await service.post(**CALM | {"gust": "19 mph"})
        await service.judged()
    with store.reading() as session:
        assert sum(outbox.counts(session).values()) > 0


class NeverAnswers:
    """A feed that takes a question and leaves it at that."""

    name, attribution, every_s = "feed", "", 1800.0

    def __init__(self) -> None:
        self.asked = asyncio.Event()

    async def poll(self, now: int) -> Polled:
        self.asked.set()
        await asyncio.Event().wait()
        return Polled.nothing_new()


async def test_a_stop_while_a_source_is_asked_is_logged_as_no_fault(
    farm: Farm, store: Database, caplog: pytest.LogCaptureFixture
) -> None:
    feed = NeverAnswers()
    async with running(farm, store, SetClock(NOON), sources={"feed": feed}):
        await asyncio.wait_for(feed.asked.wait(), 10)
    assert [r for r in caplog.records if r.levelno >= logging.ERROR] == []


class Speaking:
    """A station that speaks by itself: trouble first, then one calm reading, then silence."""

    name = "mast"

    async def stream(self) -> AsyncGenerator[Observations | SourceError, None]:
        yield SourceError("the line to the mast is down; check its cable")
        site = Site(41.0, -96.0, wind_height_m=0.628)
        said = {"wind_m_s": [2.2], "gust_m_s": [3.0], "wind_from_deg": [10.0]}
        air = {"temp_c": [20.0], "humidity_pct": [55.0]}
        yield Observations(WeatherSeries.of([NOON], site, "mast", said | air))
        await asyncio.Event().wait()


async def test_a_station_that_speaks_by_itself_is_heard_and_its_trouble_noted(
    farm: Farm, store: Database
) -> None:
    async with running(farm, store, SetClock(NOON), streams={"mast": Speaking()}) as service:
        await service.judged()
        while ranked(service)["hill"] is not Status.SUITABLE:
            await service.judged()
    with store.reading() as session:
        [mast] = [h for h in health.all_sources(session) if h.source == "mast"]
    assert (mast.state, mast.newest_reading_at) == ("answering", NOON)


async def test_a_field_whose_job_is_finished_is_left_out_for_a_while(
    farm: Farm, store: Database
) -> None:
    clock = SetClock(NOON)
    async with running(farm, store, clock) as service:
        with store.writing() as session:
            job = job_steps.start(
                session, service.watch.transactions.plan, "hill", "coarse", NOON - 3600
            )
            job_steps.finish(session, job.id, NOON)
        await service.post(**CALM)
        await service.judged()
        assert service.watch.snapshot is not None
        ranking = service.watch.snapshot.ranking
        assert [f.field for f in ranking.done] == ["hill"]
        assert "hill" not in [f.field for f in ranking.spray]
        clock.at += 8 * 86_400
        await service.judged()
        assert service.watch.snapshot.ranking.done == ()


async def test_the_running_watch_makes_bins_and_lets_old_readings_go(
    farm: Farm, store: Database
) -> None:
    site = Site(41.0, -96.0, wind_height_m=3.0)
    times = np.arange(NOON - 3 * DAY_S, NOON - DAY_S, 60)
    long_ago = WeatherSeries.of(times, site, "mast", {"temp_c": np.full(times.size, 20.0)})
    with store.writing() as session:
        weather.add_observations(session, Observations(long_ago), NOON)
    clock = SetClock(NOON)
    clock.speed = 600.0  # what is done every minute is done every tenth of a second
    async with running(farm, store, clock) as service:
        service.watch.transactions.keep_raw_s = 2 * DAY_S
        async with asyncio.timeout(10):
            while first_reading(store) < NOON - 2 * DAY_S:
                await service.judged()
    assert first_reading(store) == NOON - 2 * DAY_S
    with store.reading() as session:
        kept = aggregates.bins(session, "mast", HOUR_S, NOON - 3 * DAY_S, NOON)
    assert len(kept) == 48


def first_reading(store: Database) -> int:
    with store.reading() as session:
        return int(weather.observations(session, "mast", 0, NOON).series.times[0])
