"""A life of the alerts that can be ended at any instant: cycles and courier over one log, fast.

Time is made up: a cycle a minute, as fast as the machine goes. The weather depends on nothing but
the minute, so that every life that gets to the end must have told the same, however often it was
killed on the way. Run as a program it is a nursery: for every line it reads it bears one child,
kills it (or lets it kill itself) and says so.
"""

import asyncio
import json
import logging
import os
import random
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import structlog
from pydantic import SecretStr

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.alerts import condition_states, cycle
from watcher.alerts.enqueue import Enqueue
from watcher.delivery.channel import Channel
from watcher.delivery.worker import DeliveryWorker
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.store import jobs, outbox, runs
from watcher.store.database import Database

MINUTE = 60
_BEHIND_S = 600
"""Made-up time does not run away from the courier by more than this."""
RECIPIENTS = ("grower", "operator", "foreman")


@dataclass(frozen=True)
class Life:
    """What a child is told: its log, where its messages go, how it ends."""

    database: str
    url: str
    minutes: int
    die: str = "never"
    """"random": after so many seconds; else the place it dies at, and with what chance."""
    after_s: float = 0.0
    chance: float = 0.0
    seed: int = 0


def farm_config() -> dict[str, Any]:
    return tables() | {
        "recipients": {
            "grower": {"most_an_hour": 60},
            "operator": {"hears": ["job"], "form": "sms"},
            "foreman": {"hears": ["job", "brief"], "form": "mail", "most_an_hour": 60},
        }
    }


def weather(minute: int) -> dict[str, Any]:
    """Half an hour of calm, then something that must be told, by turns."""
    turn, within = divmod(minute, 30)
    if within < 15:
        return {}
    return (
        {"wind_mph": 12.0, "gust_mph": 17.0},
        {"wind_mph": 7.0, "wind_from_deg": 180.0},
        {"wind_mph": np.nan, "gust_mph": np.nan},
        {"wind_mph": 9.0},
        {"temp_c": 34.0, "humidity_pct": 20.0},
    )[turn % 5]


class Alerts:
    """The alerts over a log, from wherever an earlier life left it."""

    def __init__(self, life: Life) -> None:
        farm = build(farm_config())
        self.life, self.plan = life, FarmArrays.of(farm)
        self.post = Enqueue(Speaker(farm))
        self.store = Database(life.database)
        self.store.upgrade()
        with self.store.writing() as session:
            before = runs.last(session)
            self.now = MORNING if before is None else before.last_alive_at
            self.run = runs.begin(session, self.now)
        urls = {name: SecretStr(f"{life.url}{name}") for name in RECIPIENTS}
        # Retries come every few milliseconds of the machine's.
        self.delivery = DeliveryWorker(
            self.store, farm, urls, now=lambda: self.now, speed=2000.0, jitter=random.Random(1)
        )

    @property
    def over(self) -> bool:
        return self.now >= MORNING + self.life.minutes * MINUTE

    def minute(self) -> None:
        """One cycle in one transaction, and the job's own steps with it."""
        at = self.now + MINUTE
        minute = (at - MORNING) // MINUTE
        look = timeline(at, **weather(minute))
        judgement, ranking = judged(self.plan, look)
        with self.store.writing() as session:
            if minute % 100 == 1:
                for job in jobs.open_jobs(session):
                    job_steps.finish(session, job.id, at)
                job_steps.start(session, self.plan, "creek_side", "coarse", at)
            cycle.run(session, self.post, judgement, look, ranking)
            runs.seen(session, self.run, at)
        self.now = at

    async def live(self) -> None:
        """Live until the end of the made-up time, and until all is sent."""
        delivering = asyncio.create_task(self.delivery.run())
        while not self.over or await asyncio.to_thread(self._unsent) is not None:
            if not self.over:
                await asyncio.to_thread(self.minute)
            self.delivery.wake()
            while (due := await asyncio.to_thread(self._unsent)) is not None and (
                self.over or due < self.now - _BEHIND_S
            ):
                if self.over:
                    self.now += 1
                await asyncio.sleep(0.002)
        delivering.cancel()
        await asyncio.gather(delivering, return_exceptions=True)
        await self.delivery.drain()
        self.store.close()

    def _unsent(self) -> int | None:
        with self.store.reading() as session:
            return outbox.oldest_unsent(session)


@contextmanager
def dying(life: Life) -> Iterator[None]:
    """Make this process kill itself at a named place, some of the times it passes there."""
    chances = random.Random(life.seed)

    def perhaps() -> None:
        if chances.random() < life.chance:
            os.kill(os.getpid(), signal.SIGKILL)

    if life.die == "sent, not marked":
        send = Channel.send

        async def send_and_die(self: Channel, *args: Any, **kwargs: Any) -> Any:
            attempt = await send(self, *args, **kwargs)
            perhaps()
            return attempt

        Channel.send = send_and_die  # type: ignore[method-assign]
    elif life.die == "remembered, not told":
        save = condition_states.save

        def save_and_die(*args: Any) -> None:
            save(*args)
            perhaps()

        condition_states.save = save_and_die
    elif life.die == "told, not kept":
        seen = runs.seen

        def die_and_see(*args: Any) -> None:
            perhaps()
            seen(*args)

        runs.seen = die_and_see
    elif life.die == "claimed, not sent":
        claim = outbox.claim

        def claim_and_die(*args: Any, **kwargs: Any) -> Any:
            claimed = claim(*args, **kwargs)
            if claimed:
                perhaps()
            return claimed

        outbox.claim = claim_and_die
    yield


def _child(life: Life) -> None:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    logging.disable()
    with dying(life):
        asyncio.run(Alerts(life).live())


def nursery() -> None:
    """Bear a child for every line, which is a life in JSON; answer how it ended."""
    for line in sys.stdin:
        life = Life(**json.loads(line))
        child = os.fork()
        if child == 0:
            try:
                _child(life)
            except BaseException:
                import traceback  # noqa: PLC0415

                traceback.print_exc()
                os._exit(1)
            os._exit(0)
        if life.die == "random":
            time.sleep(life.after_s)
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        killed = os.WIFSIGNALED(status)
        print("killed" if killed else f"exit {os.WEXITSTATUS(status)}", flush=True)


def as_line(life: Life) -> str:
    return json.dumps(asdict(life))


if __name__ == "__main__":
    nursery()
