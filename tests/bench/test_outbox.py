"""How fast the outbox drains against the bare cost of the same HTTP calls; ten thousand at once."""

import asyncio
import resource
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.farms import build, tables
from tests.support.new_log import new_log
from tests.support.receiver import Receiver
from watcher.delivery.channel import Channel
from watcher.delivery.worker import DeliveryWorker
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.outbox import NewMessage

NOON = 1_781_110_800


def _fill(store: Database, count: int, recipients: tuple[str, ...]) -> float:
    started = time.perf_counter()
    with store.writing() as session:
        for n in range(count):
            for who in recipients:
                outbox.put(
                    session,
                    NewMessage(
                        key=f"job:{n}/stop/{who}",
                        short_id=outbox.short_id(str(n)),
                        about=f"job:{n}",
                        kind="stop",
                        recipient=who,
                        title=f"Stop field {n}: too windy, 12 mph",
                        body=f"number {n}",
                        created_at=NOON,
                        caused_at=NOON,
                        due_at=NOON,
                        urgent=True,
                    ),
                )
    return time.perf_counter() - started


def _bare(receiver: Receiver, count: int) -> float:
    """The same messages by the same library, one after the other, with nothing written down."""

    async def send_all() -> None:
        channel = Channel("grower", receiver.url().get_secret_value())
        for n in range(count):
            await channel.send(f"Stop field {n}: too windy, 12 mph", f"number {n}", urgent=True)

    started = time.perf_counter()
    asyncio.run(send_all())
    return time.perf_counter() - started


def _drained(store: Database, receiver: Receiver) -> float:
    farm = build(tables())
    delivery = DeliveryWorker(store, farm, {"grower": receiver.url()}, now=lambda: NOON)
    started = time.perf_counter()
    asyncio.run(delivery.drain())
    return time.perf_counter() - started


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


@pytest.mark.bench
def test_drain_rate_against_the_bare_calls(store: Database, receiver: Receiver) -> None:
    count = 400
    _bare(receiver, 20)  # the library loads its plug-ins at first use
    bare = _bare(receiver, count)
    _fill(store, count, ("grower",))
    drained = _drained(store, receiver)
    print(
        f"\noutbox {count / drained:.0f} messages/s, bare calls {count / bare:.0f}/s: "
        f"{drained / bare:.2f} times the bare cost"
    )
    assert drained < 5 * bare


@pytest.mark.bench
def test_ten_thousand_at_once_leave_in_order_and_in_bounded_memory(
    store: Database, receiver: Receiver
) -> None:
    _bare(receiver, 20)
    receiver.got.clear()
    filled = _fill(store, 10_000, ("grower",))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    drained = _drained(store, receiver)
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    print(
        f"\n10,000 messages: written in {filled:.1f} s, drained in {drained:.0f} s, "
        f"{grown:.0f} MiB more at the peak (the receiver's own copies included)"
    )
    assert [p.body for p in receiver.got] == [f"number {n}" for n in range(10_000)]
    with store.reading() as session:
        assert outbox.counts(session) == {"sent": 10_000}
    assert grown < 100
