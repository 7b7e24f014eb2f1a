"""The running watch on a machine whose clock jumps or starts wrong: nothing lost, nothing false."""

import asyncio
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import build, watched_tables
from tests.support.jumping import JumpingClock
from tests.support.receiver import Receiver, status
from tests.support.running import Running, put_forecast, running
from watcher.farm import Farm
from watcher.jobs.steps import sprayed_s
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.source_view import distrusted
from watcher.store import jobs, runs, weather
from watcher.store.database import Database
from watcher.store.recent import RecentWeather
from watcher.store.tables import Condition, Outgoing

pytestmark = pytest.mark.long

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
DAY_S = 86_400
YEARS_S = 3 * 365 * DAY_S
CALM = {
    "wind": "5 mph",
    "gust": "7 mph",
    "wind_from": "0 deg",
    "temperature": "68 degF",
    "humidity": "55 %",
}
GUSTY = CALM | {"gust": "19 mph"}
JUMPS = [3600, -3600, DAY_S, -DAY_S]


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


@dataclass
class SentMessages:
    """What was ever written to the grower."""

    store: Database

    @property
    def titles(self) -> list[str]:
        with self.store.reading() as session:
            of = select(Outgoing).where(Outgoing.recipient == "grower").order_by(Outgoing.id)
            return [m.title for m in session.scalars(of)]

    def any(self, *beginnings: str) -> list[str]:
        return [t for t in self.titles if t.startswith(beginnings)]


def start_job(service: Running, store: Database) -> int:
    with store.writing() as session:
        plan = service.watch.transactions.plan
        return job_steps.start(session, plan, "hill", "coarse", service.watch.clock.now()).id


def hill(service: Running) -> Status:
    assert service.watch.snapshot is not None
    return service.watch.snapshot.ranking.every["hill"].status


@pytest.mark.parametrize("by_s", JUMPS)
async def test_a_stop_that_waits_for_a_failing_phone_while_the_clock_jumps_is_delivered(
    farm: Farm, store: Database, receiver: Receiver, by_s: int
) -> None:
    clock, messages = JumpingClock(NOON), SentMessages(store)
    async with running(farm, store, clock, urls={"grower": receiver.url()}) as service:
        await service.post(**CALM)
        await service.judged()
        job = start_job(service, store)
        await service.judged()
        receiver.answers = [status(500)] * 1000
        clock.at += 60
        await service.post(**GUSTY)
        await service.judged()
        clock.wrong_by = by_s
        for _ in range(5):
            clock.at += 10
            await service.post(**GUSTY)
            await service.judged()
            assert hill(service) is Status.UNSUITABLE
        clock.wrong_by = 0
        clock.at += 130
        receiver.answers = []
        await service.post(**GUSTY)
        await service.judged()
        async with asyncio.timeout(20):
            while not any(p.title.startswith("Stop hill") for p in receiver.got):
                clock.at += 1
                await service.judged()
        with store.reading() as session:
            seconds = sprayed_s(jobs.job(session, job), clock.now())
    assert seconds == clock.at - NOON
    assert messages.any("Check", "Weather", "Watch was down") == []
    assert len(messages.any("Stop hill")) == 1
    assert messages.any("The machine's clock jumped") == ["The machine's clock jumped"]


@pytest.mark.parametrize("by_s", JUMPS)
async def test_a_jump_with_no_job_under_way_is_nobodys_business(
    farm: Farm, store: Database, by_s: int
) -> None:
    clock, messages = JumpingClock(NOON), SentMessages(store)
    async with running(farm, store, clock) as service:
        await service.post(**CALM)
        await service.judged()
        clock.wrong_by = by_s
        for _ in range(10):
            clock.at += 60
            await service.post(**CALM)
            await service.judged()
            assert hill(service) is Status.SUITABLE
        answer = (await service.http.get("/health")).json()
        clock.wrong_by = 0
        await service.judged()
        assert (await service.http.get("/health")).json()["clock"] is None
    assert "differ by" in answer["clock"]
    assert not answer["well"]
    assert messages.any("Check", "Watch", "The machine", "Weather: mast") == []


def ran_before(store: Database, seen_at: int, *, job: bool) -> None:
    with store.writing() as session:
        run = runs.begin(session, seen_at - 600)
        if job:
            job_steps.start(
                session, FarmArrays.of(build(watched_tables())), "hill", "coarse", seen_at - 300
            )
        runs.seen(session, run, seen_at)


@pytest.mark.parametrize("wrong_by", [-NOON, YEARS_S, -DAY_S, 2 * DAY_S])
async def test_a_start_with_a_wrong_clock_that_is_mended_later_tells_nothing_false(
    farm: Farm, store: Database, wrong_by: int
) -> None:
    ran_before(store, NOON - 4 * 3600, job=False)
    clock, messages = JumpingClock(NOON, wrong_by), SentMessages(store)
    async with running(farm, store, clock) as service:
        for _ in range(3):
            clock.at += 60
            await service.post(**CALM)
            await service.judged()
            assert hill(service) is Status.UNKNOWN
        wrongly = messages.titles
        clock.wrong_by = 0
        clock.at += 20
        await service.post(**CALM)
        await service.judged()
        assert hill(service) is Status.SUITABLE
        assert service.watch.clock.now() == clock.at
        with store.reading() as session:
            run = runs.last(session)
            assert run is not None
            assert NOON - 60 <= run.started_at <= clock.at
            assert distrusted(RecentWeather(session, clock.at), "mast") == ()
            kept = weather.observations(session, "mast", NOON, clock.at + 1)
    assert not any(bits.any() for bits in kept.flags.values())
    assert set(wrongly) <= {"Watch blind: time not certain"}
    down = messages.any("Watch was down")
    assert down == ["Watch was down 07:00 to 11:03"]


@pytest.mark.parametrize("wrong_by", [-NOON, YEARS_S])
async def test_a_job_goes_on_over_a_restart_with_a_wrong_clock(
    farm: Farm, store: Database, receiver: Receiver, wrong_by: int
) -> None:
    ran_before(store, NOON - 60, job=True)
    clock, messages = JumpingClock(NOON, wrong_by), SentMessages(store)
    async with running(farm, store, clock, urls={"grower": receiver.url()}) as service:
        clock.at += 10
        await service.post(**CALM)
        await service.judged()
        clock.wrong_by = 0
        clock.at += 10
        await service.post(**GUSTY)
        await service.judged()
        with store.reading() as session:
            [job] = jobs.open_jobs(session)
            assert sprayed_s(job, service.watch.clock.now()) == clock.at - (NOON - 360)
        async with asyncio.timeout(20):
            while not any(p.title.startswith("Stop hill") for p in receiver.got):
                clock.at += 1
                await service.judged()
    assert messages.any("Check", "Weather", "Forgotten") == []
    with store.reading() as session:
        assert all(NOON - 3600 <= c.since <= clock.at for c in session.scalars(select(Condition)))


async def test_a_reading_that_a_wrong_clock_cannot_believe_is_to_be_sent_again(
    farm: Farm, store: Database
) -> None:
    ran_before(store, NOON - 3 * DAY_S, job=False)
    clock = JumpingClock(NOON, wrong_by=-NOON)
    async with running(farm, store, clock) as service:
        answer = await service.post(**CALM)
        assert answer.status_code == 503
        assert "look at both clocks" in answer.json()["wrong"]
        clock.wrong_by = 0
        await service.judged()
        assert (await service.post(**CALM)).json()["new"] == 1


async def test_a_reading_of_next_week_is_refused_where_others_confirm_the_time(
    farm: Farm, store: Database
) -> None:
    clock = JumpingClock(NOON)
    async with running(farm, store, clock) as service:
        await service.post(**CALM)
        ahead = f"{datetime.fromtimestamp(NOON + 7 * DAY_S, UTC):%Y-%m-%dT%H:%M:%SZ}"
        answer = await service.http.post(
            "/api/v1/stations/mast/readings", json={"time": ahead, "wind": "5 mph"}
        )
    assert answer.status_code == 422
