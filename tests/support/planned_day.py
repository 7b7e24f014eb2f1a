"""A running service that has worked out its chances and made its plan of the day."""

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from tests.support.farms import tables
from tests.support.running import put_forecast
from tests.support.visiting import CALM, NOON, Visited, farm, visited
from watcher.planning.kept_plan import PlanNow
from watcher.service.day_plan import plan_now

STEADY = {"wind_m_s": 3.0, "gust_m_s": 4.0}


@asynccontextmanager
async def planned_day(
    folder: Path, *, forecast: Mapping[str, Any] = STEADY, **more: Any
) -> AsyncIterator[Visited]:
    """Run a service with a wind in which both fields are open, and one sprayer for the two."""
    fields = {name: entry | {"setups": ["coarse"]} for name, entry in tables()["fields"].items()}
    more.setdefault("of", farm(fields=fields))
    async with visited(folder, chances=True, **more) as v:
        put_forecast(v.service.watch.transactions.store, NOON + 1, **forecast)
        await later(v)
        await plan_anew(v)
        yield v


async def later(v: Visited, seconds: int = 60, **reading: str) -> None:
    """Let time pass, post a reading and wait for its judgement."""
    v.service.clock.at += seconds
    await v.service.post(**CALM | reading)
    await v.service.judged()


async def plan_anew(v: Visited) -> None:
    """Do what the schedule does when it is due, at once."""
    await v.service.watch._work_out_chances()
    await v.service.watch._plan()
    await v.service.judged()


def plan_of(v: Visited) -> PlanNow:
    """The newest plan as the log has it now."""
    transactions = v.service.watch.transactions
    with transactions.store.reading() as session:
        found = plan_now(session, transactions.plan.farm, v.service.clock.at)
    assert found is not None
    return found
