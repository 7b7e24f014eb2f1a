"""Rounds of a gust posted by a station until every recipient has its push, over real HTTP."""

import asyncio
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.service.test_watch import CALM, NOON
from tests.support import job_steps
from tests.support.farms import build, watched_tables
from tests.support.large_farm import large_farm
from tests.support.new_log import new_log
from tests.support.receiver import Receiver
from tests.support.running import SetClock, put_forecast, running
from watcher.farm import Farm
from watcher.farm.models import Recipient

# What the low mast of the farm measures, at the forecast's 10 m: one that keeps its distance from
# the forecast all day by the factor of a unit is not believed.
_AS_MEASURED: dict[str, Any] = {"wind_m_s": 3.9, "gust_m_s": 5.5}


def small_farm() -> Farm:
    tables = watched_tables()
    tables["recipients"] = {"grower": {}}
    return build(tables)


def hundred_fields() -> Farm:
    farm = large_farm(100, 2)
    recipients = {f"person_{n}": Recipient() for n in range(10)}
    sources = small_farm().config.sources
    config = farm.config.model_copy(update={"sources": sources, "recipients": recipients})
    return replace(farm, config=config)


async def post_to_push(folder: Path, farm: Farm, rounds: int) -> list[float]:
    """How long it took from a reading with a gust over a job's bound to the last push. [ms]"""
    receiver = Receiver()
    urls = {name: receiver.url(name) for name in farm.config.recipients}
    field = list(farm.config.fields)[-1]
    store = new_log(folder / "watch.db")
    put_forecast(store, NOON, **_AS_MEASURED)
    clock, took, rng = SetClock(NOON), [], np.random.default_rng(4)
    async with running(farm, store, clock, urls=urls) as service:
        for _ in range(rounds):
            put_forecast(store, clock.at, **_AS_MEASURED)
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
                job = job_steps.start(
                    session, service.watch.transactions.plan, field, "coarse", clock.at
                )
                number = job.id
            await service.judged()
            clock.at += 60
            await service.rested()
            before = len(receiver.got)
            started = time.monotonic()
            await service.post(**calm | {"gust": "19 mph"})
            at = await asyncio.to_thread(_gust_arrived, receiver, before, len(urls))
            took.append(1000 * (at - started))
            with store.writing() as session:
                job_steps.finish(session, number, clock.at)
            clock.at += 700  # the gust is out of the last ten minutes when the next round begins
            await service.judged()
    receiver.close()
    store.close()
    return took


def _gust_arrived(receiver: Receiver, before: int, people: int) -> float:
    """Wait until everybody has a message, after so many, of the gust posted; when the last came."""
    while True:
        came = receiver.got[before:]
        of_gust = [p for p in came if "gusts 19" in (p.title + p.body).lower()]
        if len(of_gust) >= people:
            return of_gust[people - 1].at
        receiver.wait_for(before + len(came) + 1)
