"""Delivery: takes due messages from the outbox, sends them, and marks them sent afterwards.

Every recipient has a task of its own, so that one who cannot be reached delays nobody else.
"""

import asyncio
import contextlib
import random
from collections.abc import Callable, Mapping
from functools import partial
from typing import TypeVar

import structlog
from pydantic import SecretStr
from sqlalchemy.orm import Session

from watcher.alerts.channel import Channel, Outcome
from watcher.alerts.forms import say_late
from watcher.farm import Farm
from watcher.store import outbox
from watcher.store.database import Log
from watcher.store.errors import LogError
from watcher.store.tables import Message

log = structlog.get_logger("watcher.courier")
T = TypeVar("T")

LEASE_S = 60
"""How long a message is a sender's before another may take it: well over one attempt."""
_FIRST_WAIT_S, _LONGEST_WAIT_S = 2.0, 120.0
_LOOK_EVERY_S = 30.0
_LOG_WAIT_S = 1.0
_NO_URL = "no URL for this recipient in the settings"


class Courier:
    """Delivers the outbox of one log to the recipients whose URLs it knows."""

    def __init__(
        self,
        store: Log,
        farm: Farm,
        urls: Mapping[str, SecretStr],
        *,
        now: Callable[[], int],
        speed: float = 1.0,
        jitter: random.Random | None = None,
    ) -> None:
        """``now`` tells the time in epoch seconds; ``speed`` is how fast it runs.

        Raises UnusableUrlError for a URL that cannot be used.
        """
        self._store, self._farm, self._now, self._speed = store, farm, now, speed
        self._jitter = jitter or random.SystemRandom()
        self._channels = {name: Channel(name, url.get_secret_value()) for name, url in urls.items()}
        self._bells = {name: asyncio.Event() for name in self._channels}
        self._in_hand: set[asyncio.Task[bool]] = set()

    def wake(self) -> None:
        """Say that there may be something new to send."""
        for bell in self._bells.values():
            bell.set()

    async def run(self) -> None:
        """Deliver until cancelled. What is being sent then is finished by ``drain``."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._tidying(), name="outbox")
            for name in self._channels:
                tasks.create_task(self._delivering(name), name=f"to {name}")

    async def drain(self) -> None:
        """Finish what is being sent, and try once more whatever is due."""
        while self._in_hand:
            await asyncio.wait(self._in_hand)
        await asyncio.gather(*(self._drain_one(name) for name in self._channels))

    async def _drain_one(self, name: str) -> None:
        while await self._deliver_next(name):
            pass

    async def _delivering(self, name: str) -> None:
        bell = self._bells[name]
        while True:
            bell.clear()
            task = asyncio.create_task(self._deliver_next(name))
            self._in_hand.add(task)
            task.add_done_callback(self._in_hand.discard)
            # A cancelled courier must not forget what became of the message it was sending.
            if not await asyncio.shield(task):
                wait = await self._until_next(name)
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(bell.wait(), wait)

    async def _deliver_next(self, name: str) -> bool:
        """Deliver one message; returns False when there is none or it did not arrive."""
        claimed = await self._in_log(
            lambda s: outbox.claim(s, self._now(), LEASE_S, 1, recipient=name)
        )
        if not claimed:
            return False
        message = claimed[0]
        body = say_late(
            message.body,
            self._farm.told.recipients[name].form,
            true_at=message.caused_at,
            now=self._now(),
            zone=self._farm.zone,
        )
        attempt = await self._channels[name].send(message.title, body, urgent=message.urgent)
        told = log.bind(message=message.short_id, to=name, attempt=message.attempts)
        if attempt.outcome is Outcome.SENT:
            await self._in_log(lambda s: outbox.mark_sent(s, message.id, self._now()))
            told.info("sent", late_s=self._now() - message.caused_at)
            return True
        again = self._next_try(message, attempt.outcome)
        await self._in_log(
            lambda s: outbox.mark_failed(s, message.id, message.attempts, attempt.why, again)
        )
        told.warning("not sent", why=attempt.why, again_at=again)
        return False

    def _next_try(self, message: Message, outcome: Outcome) -> int | None:
        """When to try again; None: never.

        What cannot be tried before it expires is left to expire. A refusal may be a mistake of the
        other side's that passes: an urgent message is tried on, slowly.
        """
        if outcome is Outcome.REFUSED and not message.urgent:
            return None
        wait = min(_FIRST_WAIT_S * 2.0 ** (message.attempts - 1), _LONGEST_WAIT_S)
        if outcome is Outcome.REFUSED:
            wait = _LONGEST_WAIT_S
        return self._now() + max(1, round(wait * self._jitter.uniform(0.5, 1.0)))

    async def _until_next(self, name: str) -> float:
        """Machine seconds until the next message to a recipient is due, at most a look's length."""
        due = await self._in_log(partial(outbox.next_due, recipient=name))
        if due is None:
            return _LOOK_EVERY_S
        return min(max(due - self._now(), 0.05) / self._speed, _LOOK_EVERY_S)

    async def _tidying(self) -> None:
        """Give up what is too old to be worth sending, and what nobody can be sent."""
        while True:
            for message in await self._in_log(lambda s: outbox.expire(s, self._now())):
                log.error("expired unsent", message=message.short_id, to=message.recipient)
            for message in await self._in_log(
                lambda s: outbox.fail_all_but(s, self._channels, _NO_URL)
            ):
                log.error(_NO_URL, message=message.short_id, to=message.recipient)
            await asyncio.sleep(_LOOK_EVERY_S / self._speed)

    async def _in_log(self, work: Callable[[Session], T]) -> T:
        """Do one thing in the log, and wait for a log that is full, locked or gone to come back.

        What was sent must not be sent again because it could not be written down.
        """
        while True:
            try:
                return await asyncio.to_thread(self._write, work)
            except LogError as error:
                log.error("the log cannot be used; trying again", why=str(error))
                await asyncio.sleep(_LOG_WAIT_S)

    def _write(self, work: Callable[[Session], T]) -> T:
        with self._store.writing() as session:
            return work(session)
