"""Delivery: takes due messages from the outbox, sends them, and marks them sent afterwards.

Every recipient has a task of its own, so that one who cannot be reached delays nobody else.
"""

import asyncio
import contextlib
import random
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TypeVar

import structlog
from pydantic import SecretStr
from sqlalchemy.orm import Session

from watcher.alerts.channel import Attempt, Channel, Outcome
from watcher.alerts.digest import together
from watcher.alerts.forms import Form, say_late, shape
from watcher.alerts.wording.words import Text
from watcher.farm import Farm
from watcher.farm.models import Topic
from watcher.store import outbox
from watcher.store.database import Log
from watcher.store.errors import LogError
from watcher.store.tables import Message

log = structlog.get_logger("watcher.courier")
T = TypeVar("T")

LEASE_S = 30
"""How long a message is a sender's before another may take it: longer than one attempt, and as
short as can be, for a message whose sender was killed waits so long."""
_FIRST_WAIT_S, _LONGEST_WAIT_S = 2.0, 120.0
_LOOK_EVERY_S = 30.0
_LEAST_WAIT_S = 0.05
_LOG_WAIT_S = 1.0
_HOUR_S = 3600
_MOST_TOGETHER = 20
_DIRECT = "DIRECT"
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
        await self._in_log(lambda s: outbox.clock_went_back(s, self._now(), LEASE_S))
        await asyncio.gather(*(self._deliver(name) for name in self._channels))

    async def tell_directly(self, text: Text, topic: Topic) -> int:
        """Send once to everyone who hears of a topic, past the outbox; returns how many got it.

        For what must be told although the log cannot be written.
        """
        told = self._farm.told.recipients
        hearers = [n for n in self._channels if n in told and topic in told[n].hears]
        shaped = [shape(text, told[n].form, ref=_DIRECT) for n in hearers]
        attempts = await asyncio.gather(
            *(
                self._channels[name].send(s.title, s.body, urgent=True)
                for name, s in zip(hearers, shaped, strict=True)
            )
        )
        return sum(a.outcome is Outcome.SENT for a in attempts)

    async def _delivering(self, name: str) -> None:
        bell, failures = self._bells[name], 0
        while True:
            bell.clear()
            task = asyncio.create_task(self._deliver(name))
            self._in_hand.add(task)
            task.add_done_callback(self._in_hand.discard)
            # A cancelled courier must not forget what became of the message it was sending.
            failures = 0 if await asyncio.shield(task) else failures + 1
            wait = await self._until_next(name, failures)
            # Not wait_for: before Python 3.12 it may swallow a cancellation.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(wait):
                    await bell.wait()

    async def _deliver(self, name: str) -> bool:
        """Deliver all that is due, until a message does not arrive; returns whether all did."""
        messages = await self._in_log(partial(self._take, name))
        while messages:
            shaped = together(messages, [self._body(m) for m in messages], self._form(name))
            urgent = messages[0].urgent
            attempt = await self._channels[name].send(shaped.title, shaped.body, urgent=urgent)
            messages = await self._in_log(partial(self._note_and_take, name, messages, attempt))
            if attempt.outcome is Outcome.FAILED:
                return False
        return True

    def _note_and_take(
        self, name: str, messages: Sequence[Message], attempt: Attempt, session: Session
    ) -> list[Message]:
        """Write down what became of an attempt and claim what is next, in one transaction.

        Nothing is next where the channel failed: the next would most likely fail too.
        """
        self._note(session, messages, attempt)
        return [] if attempt.outcome is Outcome.FAILED else self._take(name, session)

    def _take(self, name: str, session: Session) -> list[Message]:
        """Claim the next urgent message, or else all that could wait, to be told together."""
        claim = partial(outbox.claim, session, self._now(), LEASE_S, recipient=name)
        urgent = claim(1, only_urgent=True)
        if urgent or self._full_until(name, session) is not None:
            return urgent
        return claim(_MOST_TOGETHER)

    def _full_until(self, name: str, session: Session) -> int | None:
        """Until when a recipient has had enough messages that can wait; None: not at all."""
        told = self._farm.told.recipients.get(name)
        sent = outbox.sendings(session, name, self._now() - _HOUR_S + 1)
        if told is None or len(sent) < told.most_an_hour:
            return None
        return sent[-told.most_an_hour] + _HOUR_S

    def _form(self, name: str) -> Form:
        told = self._farm.told.recipients.get(name)
        return told.form if told else "push"

    def _body(self, message: Message) -> str:
        return say_late(
            message.body,
            self._form(message.recipient),
            true_at=message.caused_at,
            now=self._now(),
            zone=self._farm.zone,
        )

    def _note(self, session: Session, messages: Sequence[Message], attempt: Attempt) -> None:
        """Write down what became of an attempt."""
        now = self._now()
        for message in messages:
            told = log.bind(
                message=message.short_id, to=message.recipient, attempt=message.attempts
            )
            if attempt.outcome is Outcome.SENT:
                outbox.mark_sent(session, message.id, now)
                told.info("sent", late_s=now - message.caused_at)
            else:
                again = self._next_try(message, attempt.outcome)
                outbox.mark_failed(session, message.id, message.attempts, attempt.why, again)
                told.warning("not sent", why=attempt.why, again_at=again)

    def _next_try(self, message: Message, outcome: Outcome) -> int | None:
        """When to try a message again; None: never.

        What cannot be tried before it expires is left to expire. A refusal may be a mistake of the
        other side's that passes: an urgent message is tried on, slowly.
        """
        if outcome is Outcome.REFUSED and not message.urgent:
            return None
        wait = self._wait(message.attempts) if outcome is Outcome.FAILED else _LONGEST_WAIT_S
        return self._now() + max(1, round(wait))

    def _wait(self, failures: int) -> float:
        """How long to wait after so many failures in a row, a little different each time. [s]"""
        longest = min(_FIRST_WAIT_S * 2.0 ** (failures - 1), _LONGEST_WAIT_S)
        return longest * self._jitter.uniform(0.5, 1.0)

    async def _until_next(self, name: str, failures: int) -> float:
        """Machine seconds until it is time to look again, unless the bell rings before.

        A channel that fails is left alone for a while, however much waits for it.
        """
        due = await self._in_log(partial(self._due, name))
        if due is None:
            return _LOOK_EVERY_S
        least = self._wait(failures) if failures else _LEAST_WAIT_S
        return min(max(due - self._now(), least) / self._speed, _LOOK_EVERY_S)

    def _due(self, name: str, session: Session) -> int | None:
        full_until = self._full_until(name, session)
        due = outbox.next_due(session, name, only_urgent=full_until is not None)
        return min((t for t in (due, full_until) if t is not None), default=None)

    async def _tidying(self) -> None:
        """Give up what is too old to be worth sending, and what nobody can be sent."""
        while True:
            await self._in_log(lambda s: outbox.clock_went_back(s, self._now(), LEASE_S))
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
