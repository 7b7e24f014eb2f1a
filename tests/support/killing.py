"""Lives of the alerts that are killed, and what must be so afterwards."""

import asyncio
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import select

from tests.support.alert_life import RECIPIENTS, Alerts, Life, as_line
from tests.support.receiver import Receiver, status
from watcher.store.database import Database
from watcher.store.tables import Outgoing

_ROOT = Path(__file__).resolve().parent.parent.parent


@contextmanager
def nursery() -> Iterator[subprocess.Popen[str]]:
    """A process without threads, which bears and kills children. Real processes, real SIGKILL."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.support.alert_life"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=_ROOT,
    )
    try:
        yield process
    finally:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.close()
        process.wait(10)
        process.stdout.close()


def live(process: subprocess.Popen[str], life: Life) -> str:
    """Let the nursery bear one child; returns how it ended."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(as_line(life) + "\n")
    process.stdin.flush()
    return process.stdout.readline().strip()


def outbox_of(path: Path) -> list[Outgoing]:
    """Every message of a log."""
    log = Database(f"sqlite:///{path}")
    with log.reading() as session:
        found = list(session.scalars(select(Outgoing).order_by(Outgoing.id)))
    log.close()
    return found


def undisturbed(folder: Path, minutes: int) -> set[str]:
    """The keys of all that is told in a life nobody disturbs."""
    receiver = Receiver()
    path = folder / "undisturbed.db"
    life = Life(f"sqlite:///{path}", _plain(receiver), minutes)
    asyncio.run(Alerts(life).live())
    receiver.close()
    return {m.key for m in outbox_of(path)}


def _plain(receiver: Receiver) -> str:
    return receiver.url("").get_secret_value()


@contextmanager
def unreliable_receiver(every: int) -> Iterator[tuple[Receiver, str]]:
    """A receiver that answers every so-manieth message with an error, and its URL."""
    receiver = Receiver()
    failing = status(500)

    class Unreliable(list):  # type: ignore[type-arg]
        def __bool__(self) -> bool:
            return receiver.tried % every == every - 1

        def pop(self, _index: int = -1) -> object:
            return failing

    receiver.answers = Unreliable()
    try:
        yield receiver, _plain(receiver)
    finally:
        receiver.close()


def arrivals(receiver: Receiver) -> Counter[tuple[str, str]]:
    """How often each message arrived: by recipient and short id."""
    return Counter(
        (push.path.strip("/"), ref)
        for push in receiver.got
        for ref in re.findall(r"[\[(]([A-Z2-7]{5})[\])]", push.body)
    )


def assert_nothing_lost(
    path: Path, receiver: Receiver, wanted: set[str], kills: int
) -> tuple[int, int]:
    """All that an undisturbed life tells is told and has arrived; returns messages and repeats.

    A kill repeats at most the one message each recipient's sender had in hand.
    """
    messages = outbox_of(path)
    heard = {m.key for m in messages}
    # That somebody is not reached is true of a receiver that refuses, and of no undisturbed life.
    beside = {m.key for m in messages if m.kind != "recipient unreachable"} - wanted
    assert (wanted - heard, beside) == (set(), set()), "not told, and told beside it"
    assert {m.state for m in messages} == {"sent"}
    came = arrivals(receiver)
    sent = {(m.recipient, m.short_id) for m in messages}
    assert sent - came.keys() == set()
    assert came.keys() - sent == set()
    for name in RECIPIENTS:
        repeats = sum(n - 1 for (who, _), n in came.items() if who == name)
        assert repeats <= kills, f"{repeats} repeats to {name} in {kills} kills"
    return len(messages), sum(n - 1 for n in came.values())
