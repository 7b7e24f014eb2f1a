"""The log full, read-only or held by another program: no half state, told aloud, then well."""

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, AbstractContextManager
from functools import partial
from pathlib import Path

import pytest

from tests.support import job_steps
from tests.support.breaking import Strikes
from tests.support.broken_log import Breakable, held
from tests.support.farms import build, tables, watched_tables
from tests.support.minutes import Minutes
from tests.support.new_log import new_log
from tests.support.receiver import Receiver
from tests.support.running import Running, SetClock, put_forecast, running
from tests.support.skies import MORNING
from watcher.delivery.worker import DeliveryWorker
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.sources.base import Observations, Polled, SourceError
from watcher.store import runs, weather
from watcher.store.database import Database
from watcher.store.errors import LogError
from watcher.weather.series import Site, WeatherSeries

pytestmark = pytest.mark.long

CALM = {
    "wind": "5 mph",
    "gust": "7 mph",
    "wind_from": "0 deg",
    "temperature": "68 degF",
    "humidity": "55 %",
}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "watch.db"


@pytest.fixture
def store(path: Path) -> Iterator[Database]:
    log = new_log(path, busy_s=0.5)  # long enough for a slow machine, short enough to wait out
    yield log
    log.close()


Broken = Callable[[str], AbstractContextManager[None]]


@pytest.fixture
def broken(store: Database, path: Path) -> Broken:
    breakable = Breakable(store)
    kinds = {"full": breakable.full, "read-only": breakable.read_only, "held": partial(held, path)}
    return lambda kind: kinds[kind]()


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


KINDS = pytest.mark.parametrize("kind", ["full", "read-only", "held"])


@KINDS
def test_a_cycle_that_cannot_be_written_leaves_nothing_behind_and_is_told_later(
    kind, store, broken
):
    watch = Minutes(store, build(tables()))
    watch.start()
    watch.see()
    with broken(kind):
        before = _see_until_it_fails(watch)
        assert ([m.key for m in watch.messages()], watch.raised()) == before
    watch.now += 1800
    assert "Stop creek side: too windy, 12 mph" in watch.see(wind_mph=12.0)
    assert "limit broken: wind" in watch.raised()


def _see_until_it_fails(watch):
    """Cycles with something to write until one fails; what was kept before it."""
    for _ in range(200):  # a full file has room for a little more at first
        before = ([m.key for m in watch.messages()], watch.raised())
        watch.now += 1800
        try:
            watch.see(wind_mph=12.0)
        except LogError:
            return before
    raise AssertionError("the log took everything")


def test_a_write_that_fails_while_a_job_is_looked_at_is_the_logs_fault_not_the_jobs(store, path):
    watch = Minutes(store, build(tables()))
    watch.start()
    watch.store = Database(f"sqlite:///{path}")
    Strikes({"write": {1}}).break_log(watch.store)
    with pytest.raises(LogError):
        watch.see(wind_mph=12.0)
    assert "Stop creek side: too windy, 12 mph" in watch.see(wind_mph=12.0)
    watch.store.close()


READ_ONLY_OR_HELD = pytest.mark.parametrize("kind", ["read-only", "held"])


@pytest.fixture
def watched(
    store: Database, receiver: Receiver
) -> Callable[..., AbstractAsyncContextManager[Running]]:
    """The service in the calm of a morning, told what else belongs to it."""
    put_forecast(store, MORNING)
    urls = {"grower": receiver.url()}
    return partial(running, build(watched_tables()), store, SetClock(MORNING), urls=urls)


async def arrived(receiver: Receiver, count: int) -> list[str]:
    """The titles of the first so many messages, once they are there."""
    return [push.title for push in await asyncio.to_thread(receiver.wait_for, count)]


@READ_ONLY_OR_HELD
async def test_the_running_watch_says_past_its_log_that_it_is_blind_and_recovers(
    kind, store, broken, watched, receiver
):
    async with watched() as service:
        await service.post(**CALM)
        with store.writing() as session:
            job_steps.start(session, service.watch.transactions.plan, "hill", "coarse", MORNING)
        await service.judged()
        before = len(receiver.got)
        with broken(kind):
            service.clock.at += 1
            service.watch.wake()
            pushed = await arrived(receiver, before + 1)
            service.watch.wake()
            await asyncio.sleep(0.5)
            assert len(receiver.got) == before + 1  # once, however long it lasts
        assert pushed[-1] == "Check: the watch cannot write its log"
        await service.judged()
        assert (await arrived(receiver, before + 2))[-1] == "Watch sees again"
        service.clock.at += 60
        await service.post(**CALM | {"gust": "19 mph"})
        assert (await arrived(receiver, before + 3))[-1] == "Stop hill: gusts 19, max 15 mph"


class Says:
    """A station, asked or speaking by itself, that has one reading to give when told to."""

    name, attribution, every_s = "mast", "", 3600.0

    def __init__(self) -> None:
        self.given: asyncio.Queue[Observations] = asyncio.Queue()

    def give(self, wind_m_s: float, at: int = MORNING) -> None:
        site = Site(41.0, -96.0, wind_height_m=2.0)
        series = WeatherSeries.of([at], site, "mast", {"wind_m_s": [wind_m_s]})
        self.given.put_nowait(Observations(series))

    async def poll(self, now: int) -> Polled:
        return Polled(await self.given.get())

    async def stream(self) -> AsyncGenerator[Observations | SourceError, None]:
        while True:
            yield await self.given.get()


@READ_ONLY_OR_HELD
@pytest.mark.parametrize("how", ["sources", "streams"])
async def test_what_a_station_says_meanwhile_is_kept_once_the_log_can_be_used(
    how, kind, store, broken, watched, receiver
):
    station = Says()
    async with watched(**{how: {"mast": station}}) as service:
        with broken(kind):
            station.give(2.5)
            await arrived(receiver, 1)
        await arrived(receiver, 2)
        async with asyncio.timeout(10):
            while not (wind := _kept(store)):
                await service.judged()
    assert wind == [2.5]


@READ_ONLY_OR_HELD
async def test_a_station_is_heard_on_meanwhile(kind, store, broken, watched, receiver):
    """What waits on its line and tells no time of its own would be taken for one of later."""
    station = Says()
    async with watched(streams={"mast": station}) as service:
        with broken(kind):
            for minute in range(3):
                station.give(2.0 + minute, MORNING + 60 * minute)
            async with asyncio.timeout(5):
                while not station.given.empty():
                    await arrived(receiver, 1)
        async with asyncio.timeout(10):
            while len(wind := _kept(store)) < 3:
                await service.judged()
    assert wind == [2.0, 3.0, 4.0]


def _kept(store: Database) -> list[float]:
    with store.reading() as session:
        return list(weather.observations(session, "mast", MORNING, MORNING + 600).series.wind_m_s)


@READ_ONLY_OR_HELD
async def test_a_station_that_posts_meanwhile_is_told_to_post_again(kind, broken, watched):
    async with watched() as service:
        with broken(kind):
            answer = await service.post(**CALM)
        assert answer.status_code == 503
        assert answer.json()["wrong"] == "the watch cannot use its log just now; send this again"
        # What alerts were told from is in the log, whether it is sent again or not.
        taken = (await service.post(**CALM)).json()
        assert (taken["taken"], taken["new"]) == (1, 0)


@READ_ONLY_OR_HELD
async def test_a_watch_stopped_meanwhile_says_so_past_its_log(kind, broken, watched, receiver):
    with contextlib.ExitStack() as until_stopped:
        async with watched():
            until_stopped.enter_context(broken(kind))
        titles = await arrived(receiver, 1)
    assert titles[-1] == "Watch stops: nobody watches"


@READ_ONLY_OR_HELD
async def test_a_watch_started_meanwhile_says_so_and_begins_later(
    kind, store, broken, watched, receiver
):
    until_said = contextlib.ExitStack()
    until_said.enter_context(broken(kind))
    async with asyncio.TaskGroup() as tasks:
        telling = tasks.create_task(arrived(receiver, 1))
        telling.add_done_callback(lambda _: until_said.close())
        async with watched() as service:
            await service.judged()
            assert telling.result() == ["Check: the watch cannot write its log"]
    with store.reading() as session:
        assert runs.last(session).started_at == MORNING


async def test_a_watch_that_cannot_begin_can_be_stopped(store, broken, receiver):
    farm, clock = build(tables()), SetClock(MORNING)
    delivery = DeliveryWorker(store, farm, {"grower": receiver.url()}, now=clock.now)
    watch, stop = (
        Watch(Transactions(FarmArrays.of(farm), store, clock), {}, delivery),
        asyncio.Event(),
    )
    with broken("read-only"):
        async with asyncio.timeout(10), asyncio.TaskGroup() as tasks:
            tasks.create_task(watch.run(stop))
            await arrived(receiver, 1)
            stop.set()
    with store.reading() as session:
        assert runs.last(session) is None
