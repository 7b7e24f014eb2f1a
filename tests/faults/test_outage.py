"""A log that cannot be used while somebody sprays: alerts go on, and what came about is kept."""

import asyncio
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractAsyncContextManager, AbstractContextManager
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.broken_log import Breakable, held
from tests.support.farms import build, watched_tables
from tests.support.new_log import new_log
from tests.support.receiver import Receiver, status
from tests.support.running import Running, SetClock, put_forecast, running
from tests.support.skies import MORNING
from watcher.service import looking, standby, transactions, watch
from watcher.service.health import LOG_UNUSABLE, NOT_JUDGED
from watcher.sources.base import Polled
from watcher.store import weather
from watcher.store.database import Database
from watcher.store.kept_file import KeptFile
from watcher.store.tables import Outgoing

pytestmark = pytest.mark.long

CALM = {
    "wind": "5 mph",
    "gust": "7 mph",
    "wind_from": "0 deg",
    "temperature": "68 degF",
    "humidity": "55 %",
}
GUST = CALM | {"gust": "19 mph"}
STOP = "Stop hill: gusts 19, max 15 mph"
UNWRITTEN = "Check: the watch cannot write its log"
BLIND = "Cannot see: the watch does not judge"
SEES = "Watch sees again"
KINDS = pytest.mark.parametrize("kind", ["full", "read-only", "held"])
Broken = Callable[[str], AbstractContextManager[None]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "watch.db"


@pytest.fixture
def store(path: Path) -> Iterator[Database]:
    log = new_log(path, busy_s=0.5)
    yield log
    log.close()


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


@pytest.fixture
def watched(
    store: Database, receiver: Receiver, tmp_path: Path
) -> Callable[..., AbstractAsyncContextManager[Running]]:
    """The service in the calm of a morning, with a file for what it knows without its log."""
    put_forecast(store, MORNING)
    urls = {"grower": receiver.url()}
    file = KeptFile(tmp_path / "standby.state")
    farm, clock = build(watched_tables()), SetClock(MORNING)
    return partial(running, farm, store, clock, urls=urls, standby_file=file)


async def spraying(service: Running, store: Database) -> None:
    """Somebody begins to spray in the calm."""
    await service.post(**CALM)
    with store.writing() as session:
        job_steps.start(
            session, service.watch.transactions.plan, "hill", "coarse", service.clock.at
        )
    await service.judged()


async def lose_the_log(service: Running) -> None:
    """Post until nothing can be written; a full file has room for a little more at first."""
    for _ in range(300):
        service.clock.at += 1
        if (await service.post(**CALM)).status_code == 503:
            return
    raise AssertionError("the log took everything")


async def until(found: Callable[[], bool], within_s: float = 30.0) -> None:
    """Wait until something is so."""
    async with asyncio.timeout(within_s):
        while not found():  # noqa: ASYNC110  # no event tells
            await asyncio.sleep(0.02)


async def titles(receiver: Receiver, wanted: str, *, ticking: SetClock | None = None) -> list[str]:
    """The titles of what arrived, once one of them is as wanted.

    What failed is tried again as time goes by: a clock that ticks a second three times a second.
    """
    async with asyncio.timeout(60):
        while all(push.title != wanted for push in receiver.got):
            await asyncio.sleep(0.3)
            if ticking is not None:
                ticking.at += 1
    return [push.title for push in receiver.got]


def messages(store: Database) -> list[tuple[str, str]]:
    with store.reading() as session:
        found = session.scalars(select(Outgoing).order_by(Outgoing.id))
        return [(message.title, message.state) for message in found]


@KINDS
async def test_the_stop_is_told_although_nothing_can_be_written_and_only_once(
    kind, store, broken, watched, receiver
):
    async with watched() as service:
        await spraying(service, store)
        with broken(kind):
            await lose_the_log(service)
            assert UNWRITTEN in await titles(receiver, UNWRITTEN)
            service.clock.at += 60
            assert (await service.post(**GUST)).status_code == 503
            await titles(receiver, STOP)
            assert STOP not in {title for title, _ in messages(store)}
        got = await titles(receiver, SEES)
        service.clock.at += 60
        await service.post(**GUST)
        await service.judged()
        assert [push.title for push in receiver.got] == got
        assert got.count(STOP) == got.count(UNWRITTEN) == got.count(SEES) == 1
    assert (STOP, "sent") in messages(store)
    assert (UNWRITTEN, "sent") in messages(store)


async def test_what_it_was_warn_from_is_in_the_log_afterwards(store, broken, watched, receiver):
    async with watched() as service:
        await spraying(service, store)
        with broken("read-only"):
            await lose_the_log(service)
            service.clock.at += 60
            at = service.clock.at
            await service.post(**GUST)
            await titles(receiver, STOP)
        await titles(receiver, SEES)
        with store.reading() as session:
            kept = weather.observations(session, "mast", at, at + 1)
        assert kept.series.gust_m_s.tolist() == pytest.approx([19 * 0.44704])
        body = next(push.body for push in receiver.got if push.title == SEES)
        assert "Running jobs were judged from memory meanwhile." in body


async def test_a_phone_that_fails_at_first_still_gets_both(store, broken, watched, receiver):
    async with watched() as service:
        await spraying(service, store)
        receiver.answers = [status(503), status(503)]
        with broken("read-only"):
            await lose_the_log(service)
            service.clock.at += 60
            await service.post(**GUST)
            await titles(receiver, STOP, ticking=service.clock)
            await titles(receiver, UNWRITTEN, ticking=service.clock)
    assert receiver.answers == []


async def test_a_restart_in_the_middle_forgets_neither_the_job_nor_what_waits(
    store, broken, watched, receiver
):
    async with watched() as service:
        await spraying(service, store)
        receiver.always = status(503)
        failing = broken("held")
        failing.__enter__()
        await lose_the_log(service)
        service.clock.at += 60
        await service.post(**GUST)
        await until(lambda: receiver.tried >= 2)
    waited = receiver.tried
    receiver.got.clear()
    receiver.always = status(200)
    async with watched() as service:
        service.clock.at = MORNING + 400
        assert STOP in await titles(receiver, STOP)
        assert receiver.tried > waited
        failing.__exit__(None, None, None)
        await titles(receiver, SEES)
        await service.judged()
    got = [push.title for push in receiver.got]
    assert got.count(STOP) == got.count(SEES) == 1
    assert (STOP, "sent") in messages(store)


async def test_what_is_no_longer_true_is_not_sent_any_more_but_named(
    store, broken, watched, receiver
):
    async with watched() as service:
        await spraying(service, store)
        refuse = status(503)
        receiver.always = refuse
        with broken("read-only"):
            await lose_the_log(service)
            await until(lambda: receiver.tried >= 1)
        await until(lambda: any(title == SEES for title, _ in messages(store)))
        receiver.got.clear()
        receiver.always = status(200)
        # That it sees again may have been refused once, and is tried again as time goes by.
        got = await titles(receiver, SEES, ticking=service.clock)
    assert UNWRITTEN not in got
    body = next(push.body for push in receiver.got if push.title == SEES)
    assert f"Never arrived: {UNWRITTEN}" in body


def _fails(*_args: object) -> None:
    raise RuntimeError("hunter2")


async def test_a_judgement_that_fails_is_told_and_so_is_that_it_works_again(
    store, watched, receiver, monkeypatch
):
    async with watched() as service:
        await spraying(service, store)
        receiver.answers = [status(503), status(503)]
        with monkeypatch.context() as patched:
            patched.setattr(transactions, "judged", _fails)
            service.watch.wake()
            await titles(receiver, BLIND, ticking=service.clock)
            health = await service.http.get("/health")
            assert health.status_code == 503
            assert health.json()["wrong"] == [str(NOT_JUDGED)]
            assert not service.watch._well()
            assert "hunter2" not in health.text + receiver.got[-1].body
        await titles(receiver, SEES)
        await service.judged()
        assert service.watch._well()
        service.clock.at += 60
        await service.post(**GUST)
        await titles(receiver, STOP)


async def test_a_judgement_that_fails_without_a_log_is_told_past_it(
    store, broken, watched, receiver, monkeypatch
):
    async with watched() as service:
        await spraying(service, store)
        with broken("read-only"):
            await lose_the_log(service)
            await titles(receiver, UNWRITTEN)
            with monkeypatch.context() as patched:
                patched.setattr(transactions, "judged", _fails)
                service.watch.wake()
                await titles(receiver, BLIND)
            service.clock.at += 5
            service.watch.wake()
            await until(lambda: [p.title for p in receiver.got].count(UNWRITTEN) == 2)
            assert "it judged nothing." in receiver.got[-1].body
        await titles(receiver, SEES)


@pytest.mark.parametrize("where", ["the judgement", "the alerts"])
async def test_a_judgement_that_hangs_is_told(where, store, watched, receiver, monkeypatch):
    released = threading.Event()

    def hangs(*_args: object) -> None:
        released.wait(60)
        raise RuntimeError("released")

    monkeypatch.setattr(watch, "_LOG_WITHIN_S", 0.5)
    monkeypatch.setattr(standby, "_JUDGED_WITHIN_S", 0.5)
    monkeypatch.setattr(standby, "_DONE_WITHIN_S", 0.5)
    async with watched() as service:
        await spraying(service, store)
        receiver.answers = [status(503)]
        with monkeypatch.context() as patched:
            if where == "the judgement":
                patched.setattr(transactions, "judged", hangs)
            else:  # in the middle of a transaction: memory is held up too
                patched.setattr(transactions.alerts, "run", hangs)
            service.watch.wake()
            await titles(receiver, BLIND, ticking=service.clock)
            answer = await service.http.get("/health")
            assert answer.status_code == 503
        released.set()
        await until(lambda: service.watch.outage is None)
        await service.judged()


async def test_health_and_the_heartbeat_say_so_while_the_log_cannot_be_used(
    store, broken, watched, receiver
):
    async with watched() as service:
        await spraying(service, store)
        assert service.watch._well()
        with broken("held"):
            await lose_the_log(service)
            answer = await service.http.get("/health")
            assert (answer.status_code, answer.json()["works"]) == (503, False)
            assert answer.json()["wrong"] == [str(LOG_UNUSABLE)]
            assert "watch.db" not in answer.text
            assert not service.watch._well()
            await titles(receiver, UNWRITTEN)  # one that ends before it is told is not ended aloud
        await titles(receiver, SEES)
        await until(service.watch._well)


async def test_health_answers_where_the_log_hangs(store, watched, monkeypatch):
    released = threading.Event()
    monkeypatch.setattr(looking, "_WITHIN_S", 0.3)
    async with watched() as service:
        await spraying(service, store)
        looked = service.watch.transactions.health

        def hangs(judged_at: int | None) -> object:
            released.wait(60)
            return looked(judged_at)

        monkeypatch.setattr(service.watch.transactions, "health", hangs)
        for _ in range(4):
            answer = await service.http.get("/health")
            assert (answer.status_code, answer.json()["wrong"]) == (503, [str(LOG_UNUSABLE)])
        released.set()


async def test_a_message_that_is_late_is_not_well(store, watched, receiver):
    async with watched() as service:
        await spraying(service, store)
        receiver.always = status(503)
        service.clock.at += 1
        await service.post(**GUST)
        await until(lambda: receiver.tried >= 1)
        service.clock.at += 121
        await service.post(**GUST)
        await service.judged()
        assert not service.watch._well()


class Faulty:
    """A source with a fault of its own."""

    name, attribution, every_s = "mast", "", 0.05

    def __init__(self) -> None:
        self.asked = 0

    async def poll(self, now: int) -> Polled:
        self.asked += 1
        raise KeyError("invented")


async def test_a_fault_in_a_source_silences_neither_it_nor_the_watch(store, watched):
    faulty = Faulty()
    async with watched(sources={"mast": faulty}) as service:
        await until(lambda: faulty.asked >= 2)
        found = await service.watch.health()
        (mast,) = (source for source in found.sources if source.name == "mast")
        assert mast.failures_in_a_row >= 1
        assert mast.why.startswith("what it sent broke its reader (KeyError")
        assert service.watch._well()


async def test_what_is_seen_meanwhile_counts(store, broken, watched, receiver):
    async with watched() as service:
        await spraying(service, store)
        with broken("read-only"):
            await lose_the_log(service)
            await titles(receiver, UNWRITTEN)
            seen = await service.watch.acknowledge(_acknowledge)
            assert seen == 1
        await titles(receiver, SEES)
    with store.reading() as session:
        found = select(Outgoing).where(Outgoing.title == UNWRITTEN, Outgoing.recipient == "grower")
        assert session.scalars(found).one().acknowledged_by == "grower"


def _acknowledge(used: transactions.Transactions) -> int:
    with used.store.writing() as session:
        found = session.scalars(select(Outgoing).where(Outgoing.title == UNWRITTEN)).all()
        for message in found:
            message.acknowledged_at, message.acknowledged_by = used.clock.now(), "grower"
    return len({message.short_id for message in found})
