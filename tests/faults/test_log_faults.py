"""The log full, read-only or held by another program: no half state, told aloud, then well."""

import asyncio
from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from tests.support.broken_log import full, held, read_only
from tests.support.farms import build, tables, watched_tables
from tests.support.minutes import Minutes
from tests.support.receiver import Receiver
from tests.support.running import SetClock, put_forecast, running
from tests.support.skies import MORNING
from watcher.jobs import book
from watcher.store.database import Log
from watcher.store.errors import LogError

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
def store(path: Path) -> Iterator[Log]:
    log = Log(
        f"sqlite:///{path}", busy_s=0.5
    )  # long enough for a slow machine, short enough to wait out
    log.upgrade()
    yield log
    log.close()


def broken(kind: str, store: Log, path: Path) -> AbstractContextManager[None]:
    return {"full": full(store), "read-only": read_only(store), "held": held(path)}[kind]


KINDS = pytest.mark.parametrize("kind", ["full", "read-only", "held"])


@KINDS
def test_a_cycle_that_cannot_be_written_leaves_nothing_behind_and_is_told_later(kind, store, path):
    watch = Minutes(store, build(tables()))
    watch.start()
    watch.see()
    with broken(kind, store, path):
        before = _see_until_it_fails(watch)
        assert ([m.key for m in watch.told()], watch.raised()) == before
    watch.now += 1800
    assert "Stop: creek side, wind 12 mph" in watch.see(wind_mph=12.0)
    assert "limit broken: wind" in watch.raised()


def _see_until_it_fails(watch):
    """Cycles with something to write until one fails; what was kept before it."""
    for _ in range(200):  # a full file has room for a little more at first
        before = ([m.key for m in watch.told()], watch.raised())
        watch.now += 1800
        try:
            watch.see(wind_mph=12.0)
        except LogError:
            return before
    raise AssertionError("the log took everything")


@pytest.mark.parametrize("kind", ["read-only", "held"])
async def test_the_running_watch_says_past_its_log_that_it_is_blind_and_recovers(kind, store, path):
    told = watched_tables()
    farm, receiver, clock = build(told), Receiver(), SetClock(MORNING)
    put_forecast(store, MORNING)
    async with running(farm, store, clock, urls={"grower": receiver.url()}) as service:
        await service.post(**CALM)
        with store.writing() as session:
            book.start(session, service.watch.book.plan, "hill", "coarse", clock.at)
        await service.judged()
        before = len(receiver.got)
        with broken(kind, store, path):
            clock.at += 1
            service.watch.wake()
            pushed = await asyncio.to_thread(receiver.wait_for, before + 1)
            service.watch.wake()
            await asyncio.sleep(0.5)
            assert len(receiver.got) == before + 1  # once, however long it lasts
        assert pushed[-1].title == "Watch blind: its log cannot be used"
        await service.judged()
        clock.at += 60
        await service.post(**CALM | {"gust": "19 mph"})
        pushed = await asyncio.to_thread(receiver.wait_for, before + 2)
        assert pushed[-1].title == "Stop: hill, gust 19 mph"
    receiver.close()
