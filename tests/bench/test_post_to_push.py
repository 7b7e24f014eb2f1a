"""From a station's POST to the push received, both over real HTTP on loopback."""

import asyncio
import time
from pathlib import Path

import numpy as np
import pytest

from tests.service.test_watch import CALM, NOON
from tests.support.farms import build, tables
from tests.support.receiver import Receiver
from tests.support.running import SetClock, put_forecast, running
from watcher.jobs import book
from watcher.store.database import Log

ROUNDS = 60


@pytest.mark.bench
async def test_how_long_a_gust_takes_from_post_to_push(tmp_path: Path) -> None:
    told = tables()
    told["sources"] = {
        "mast": {"kind": "push", "heights": {"wind": "0.628 m"}},
        "feed": {"kind": "met_norway"},
    }
    farm, receiver = build(told), Receiver()
    store = Log(f"sqlite:///{tmp_path / 'watch.db'}")
    store.upgrade()
    put_forecast(store, NOON)
    clock, took, rng = SetClock(NOON), [], np.random.default_rng(4)
    async with running(farm, store, clock, urls={"grower": receiver.url()}) as service:
        for _ in range(ROUNDS):
            put_forecast(store, clock.at)
            # Readings that never change would be a stuck sensor's.
            calm = CALM | {
                "wind": f"{5 + rng.normal(0, 0.4):.2f} mph",
                "wind_from": f"{rng.normal(10, 8) % 360:.0f} deg",
                "temperature": f"{68 + rng.normal(0, 1):.1f} degF",
                "humidity": f"{55 + rng.normal(0, 3):.0f} %",
            }
            await service.post(**calm)
            await service.judged()
            with store.writing() as session:
                job = book.start(session, service.watch.book.plan, "hill", "coarse", clock.at)
                number = job.id
            await service.judged()
            clock.at += 60
            before = len(receiver.got)
            started = time.monotonic()
            await service.post(**calm | {"gust": "19 mph"})
            took.append(1000 * (await asyncio.to_thread(_gust_told, receiver, before) - started))
            with store.writing() as session:
                book.jobs.finish(session, number, clock.at)
            clock.at += 240
            await service.judged()
    receiver.close()
    store.close()
    median, p99 = np.percentile(took, [50, 99])
    print(f"\nPOST to push, {ROUNDS} rounds: median {median:.0f} ms, 99th percentile {p99:.0f} ms")
    assert median < 1000


def _gust_told(receiver: Receiver, before: int) -> float:
    """Wait for the first message after so many that speaks of the gust posted; when it came."""
    while True:
        new = receiver.wait_for(before + 1)[before]
        if "gust 19" in (new.title + new.body).lower():
            return new.at
        before += 1
