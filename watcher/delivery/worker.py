"""Delivery: takes due messages from the outbox, sends them, and marks them sent afterwards.

Every recipient has a task of its own, so that one who cannot be reached delays nobody else.
"""

import asyncio
import contextlib
import copy
import math
import random
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Self, TypeVar

import structlog
from pydantic import SecretStr
from sqlalchemy.orm import Session

from watcher.delivery.addressees import Addressees, is_device
from watcher.delivery.channel import Attempt, Channel, Outcome, Sender
from watcher.delivery.digest import together
from watcher.delivery.web_push import WebPush
from watcher.farm import Farm
from watcher.farm.models import Topic
from watcher.messages.forms import Form, say_late, shape
from watcher.messages.text import Text
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.errors import LogDamagedError, LogError
from watcher.store.tables import Outgoing

log = structlog.get_logger("watcher.delivery")
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
_WRITERS = 4
_DIRECT = "DIRECT"
_NO_URL = "no push address is set for this recipient"
_NO_DEVICE = "this device takes no pushes any more"


KINDS = ("push", "mail", "sms", "device")
"""Kinds of recipients: by the form they are written to in, and devices that take pushes."""


class DeliveryWorker:
    """Delivers the outbox of one log to the recipients whose URLs it knows, and to devices.

    URLs are looked up at each attempt: one that is set or taken away counts from the next on.
    """

    def __init__(
        self,
        store: Database,
        farm: Farm,
        urls: Mapping[str, SecretStr],
        *,
        now: Callable[[], int],
        pushes: WebPush | None = None,
        speed: float = 1.0,
        jitter: random.Random | None = None,
    ) -> None:
        """``now`` tells the time in epoch seconds; ``speed`` is how fast it runs. ``pushes`` is
        the way to devices, if there is any.

        Raises UnusableUrlError for a URL that cannot be used.
        """
        self._farm, self._now, self._speed = farm, now, speed
        self._jitter = jitter or random.SystemRandom()
        self._urls = urls
        self._channels = {name: Channel(name, url.get_secret_value()) for name, url in urls.items()}
        self._pushes = pushes
        self._people = Addressees(farm, pushes.subscribed if pushes else None)
        self.attempts: Counter[tuple[str, Outcome]] = Counter()
        """Attempts to send since the start, by kind of recipient and outcome; in every log."""
        self._begin_with(store)

    def _begin_with(self, store: Database) -> None:
        self._store = store
        self._bells: dict[str, asyncio.Event] = {}
        self._waited_for = asyncio.Event()
        self._in_hand: set[asyncio.Task[bool]] = set()
        # Its own threads: those that wait for a log must not keep others from theirs.
        self._writers = ThreadPoolExecutor(_WRITERS, thread_name_prefix="outbox")
        self._going = asyncio.Event()
        self._going.set()

    def use(self, farm: Farm) -> None:
        """Go by another farm's recipients from now on."""
        self._farm = farm
        self._people = Addressees(farm, self._pushes.subscribed if self._pushes else None)

    def over(self, store: Database) -> Self:
        """Return another one that delivers the outbox of another log by the same channels."""
        other = copy.copy(self)
        other._begin_with(store)
        return other

    def pause(self) -> None:
        """Take up no further message until ``resume``; what is being sent is finished."""
        self._going.clear()

    def resume(self) -> None:
        """Deliver again."""
        self._going.set()
        self.wake()

    async def rest(self, within_s: float) -> bool:
        """Wait until nothing is being sent any more; returns whether that is so in time."""
        if not self._in_hand:
            return True
        return not (await asyncio.wait(self._in_hand, timeout=within_s))[1]

    def wake(self) -> None:
        """Say that there may be something new to send."""
        self._waited_for.set()
        for bell in self._bells.values():
            bell.set()

    def _reached(self) -> list[str]:
        """The recipients of the farm who have a URL now."""
        return [name for name in self._urls if name in self._farm.config.recipients]

    def _names(self) -> list[str]:
        """Everybody who can be sent something now: devices come and go."""
        return [*self._reached(), *self._people.devices]

    def _channel(self, name: str) -> Sender | None:
        """The channel to somebody; None to a device that is gone."""
        device = self._people.devices.get(name)
        if device is None or self._pushes is None:
            return self._by_url(name)
        return self._pushes.channel(device, self._people.language_of(name))

    def _by_url(self, name: str) -> Sender | None:
        """The channel to a recipient's URL as it is now, the same one while that stays."""
        url = self._urls.get(name)
        if url is None:
            return None
        known = self._channels.get(name)
        if known is None or not known.leads_to(url.get_secret_value()):
            known = self._channels[name] = Channel(name, url.get_secret_value())
        return known

    async def run(self) -> None:
        """Deliver until cancelled. What is being sent then is finished by ``drain``."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._tidying(), name="outbox")
            while True:
                await self._going.wait()
                self._waited_for.clear()
                for name in [*self._reached(), *await self._devices_waiting()]:
                    if name not in self._bells:
                        self._bells[name] = asyncio.Event()
                        tasks.create_task(self._delivering(name), name=f"to {name}")
                await self._waited_for.wait()

    async def drain(self) -> None:
        """Finish what is being sent, and try once more whatever is due."""
        while self._in_hand:
            await asyncio.wait(self._in_hand)
        await self.run_on_db_thread(lambda s: outbox.clock_went_back(s, self._now(), LEASE_S))
        await asyncio.gather(*(self._deliver(name) for name in self._names()))

    async def tell_directly(self, text: Text, topic: Topic, *, until_s: float = 0.0) -> int:
        """Send to everyone who hears of a topic, past every outbox; returns how many got it.

        The last resort, where no outbox can be written at all. Each is tried again, ever more
        slowly, for ``until_s`` machine seconds; forgotten with the process.
        """
        hearers = self._people.hearers(topic, urgent=True)
        ends = asyncio.get_running_loop().time() + until_s
        got = await asyncio.gather(*(self._insist(name, text, ends) for name in hearers))
        return sum(got)

    async def _insist(self, name: str, text: Text, ends: float) -> bool:
        shaped = shape(text, self._form(name), self._people.language_of(name), ref=_DIRECT)
        failures = 0
        while (channel := self._channel(name)) is not None:
            attempt = await channel.send(shaped.title, shaped.body, urgent=True)
            if attempt.outcome is Outcome.SENT:
                return True
            failures += 1
            log.warning("not sent", to=name, why=attempt.why)
            wait = self._wait(failures)
            over = asyncio.get_running_loop().time() + wait > ends
            if over or attempt.outcome is Outcome.HOPELESS:
                return False
            await asyncio.sleep(wait)
        return False

    async def _devices_waiting(self) -> list[str]:
        """The devices that something waits for: of many, most hear nothing for weeks."""
        devices = self._people.devices
        if not devices:
            return []
        waiting = await self.run_on_db_thread(outbox.waited_for)
        return [name for name in devices if name in waiting]

    async def _delivering(self, name: str) -> None:
        """Deliver to somebody; to a device until nothing waits for it."""
        bell, failures = self._bells[name], 0
        while True:
            await self._going.wait()
            bell.clear()
            try:
                if name not in self._reached() and name not in await self._devices_waiting():
                    break
                task = asyncio.create_task(self._deliver(name))
                self._in_hand.add(task)
                task.add_done_callback(self._in_hand.discard)
                # A cancelled worker must not forget what became of the message it was sending.
                failures = 0 if await asyncio.shield(task) else failures + 1
                wait = await self._until_next(name, failures)
            except Exception as error:  # nobody else's may wait for a fault in this one's
                log.error("a fault in the delivery; trying again", to=name, why=repr(error))
                failures += 1
                wait = self._wait(failures)
            # Not wait_for: before Python 3.12 it may swallow a cancellation.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(wait):
                    await bell.wait()
        del self._bells[name]
        self._waited_for.set()  # what was written just now found its bell still there

    async def _deliver(self, name: str) -> bool:
        """Deliver all that is due, until a message does not arrive; returns whether all did."""
        messages = await self.run_on_db_thread(partial(self._take, name))
        while messages:
            attempt = await self._send(name, messages)
            self.attempts["device" if is_device(name) else self._form(name), attempt.outcome] += 1
            messages = await self.run_on_db_thread(
                partial(self._note_and_take, name, messages, attempt)
            )
            if attempt.outcome is Outcome.FAILED:
                return False
        return True

    async def _send(self, name: str, messages: Sequence[Outgoing]) -> Attempt:
        bodies = [self._body(m) for m in messages]
        shaped = together(messages, bodies, self._form(name), self._people.language_of(name))
        channel = self._channel(name)
        if channel is None:
            return Attempt(Outcome.HOPELESS, _NO_DEVICE)
        return await channel.send(
            shaped.title,
            shaped.body,
            urgent=messages[0].urgent,
            rows=messages,
            now=self._now(),
        )

    def _note_and_take(
        self, name: str, messages: Sequence[Outgoing], attempt: Attempt, session: Session
    ) -> list[Outgoing]:
        """Write down what became of an attempt and claim what is next, in one transaction.

        Nothing is next where the channel failed: the next would most likely fail too.
        """
        self._note(session, messages, attempt)
        return [] if attempt.outcome is Outcome.FAILED else self._take(name, session)

    def _take(self, name: str, session: Session) -> list[Outgoing]:
        """Claim the next urgent message, or else all that could wait, to be sent together."""
        if not self._going.is_set():
            return []
        claim = partial(outbox.claim, session, self._now(), LEASE_S, recipient=name)
        urgent = claim(1, only_urgent=True)
        if urgent or self._full_until(name, session) is not None:
            return urgent
        return claim(_MOST_TOGETHER)

    def _full_until(self, name: str, session: Session) -> int | None:
        """Until when a recipient has had enough messages that can wait; None: not at all."""
        recipient = self._farm.config.recipients.get(name)
        sent = outbox.sendings(session, name, self._now() - _HOUR_S + 1)
        if recipient is None or len(sent) < recipient.most_an_hour:
            return None
        return sent[-recipient.most_an_hour] + _HOUR_S

    def _form(self, name: str) -> Form:
        recipient = self._farm.config.recipients.get(name)
        return recipient.form if recipient else "push"

    def _body(self, message: Outgoing) -> str:
        return say_late(
            message.body,
            self._form(message.recipient),
            self._people.language_of(message.recipient),
            true_at=message.caused_at,
            now=self._now(),
            zone=self._farm.zone,
        )

    def _note(self, session: Session, messages: Sequence[Outgoing], attempt: Attempt) -> None:
        """Write down what became of an attempt."""
        now = self._now()
        for message in messages:
            event_log = log.bind(
                message=message.short_id, to=message.recipient, attempt=message.attempts
            )
            if attempt.outcome is Outcome.SENT:
                outbox.mark_sent(session, message.id, now)
                event_log.info("sent", late_s=now - message.caused_at)
            else:
                again = self._next_try(message, attempt)
                outbox.mark_failed(session, message.id, message.attempts, attempt.why, again)
                event_log.warning("not sent", why=attempt.why, again_at=again)

    def _next_try(self, message: Outgoing, attempt: Attempt) -> int | None:
        """When to try a message again; None: never.

        What cannot be tried before it expires is left to expire. A refusal may be a mistake of the
        other side's that passes: an urgent message is tried on, slowly.
        """
        refused = attempt.outcome is Outcome.REFUSED
        if attempt.outcome is Outcome.HOPELESS or (refused and not message.urgent):
            return None
        wait = _LONGEST_WAIT_S if refused else self._wait(message.attempts)
        return self._now() + max(1, round(wait), math.ceil(attempt.again_s))

    def _wait(self, failures: int) -> float:
        """How long to wait after so many failures in a row, a little different each time. [s]"""
        longest = min(_FIRST_WAIT_S * 2.0 ** (failures - 1), _LONGEST_WAIT_S)
        return longest * self._jitter.uniform(0.5, 1.0)

    async def _until_next(self, name: str, failures: int) -> float:
        """Machine seconds until it is time to look again, unless the bell rings before.

        A channel that fails is left alone for a while, however much waits for it.
        """
        due = await self.run_on_db_thread(partial(self._due, name))
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
            await self._going.wait()
            await self.run_on_db_thread(lambda s: outbox.clock_went_back(s, self._now(), LEASE_S))
            for message in await self.run_on_db_thread(lambda s: outbox.expire(s, self._now())):
                log.error("expired unsent", message=message.short_id, to=message.recipient)
            for message in await self.run_on_db_thread(
                lambda s: outbox.fail_all_but(s, self._names(), _unreachable)
            ):
                why = message.last_error
                log.error("nobody to send it to", message=message.short_id, why=why)
            await asyncio.sleep(_LOOK_EVERY_S / self._speed)

    async def run_on_db_thread(self, work: Callable[[Session], T]) -> T:
        """Do one thing in the log, and wait for a log that is full, locked or gone to come back.

        What was sent must not be sent again because it could not be written down.
        """
        while True:
            try:
                writing = partial(self._write, work)
                return await asyncio.get_running_loop().run_in_executor(self._writers, writing)
            except LogDamagedError:
                raise  # it does not come back: the watch must end and take another one
            except LogError as error:
                log.error("the log cannot be used; trying again", why=str(error))
                await asyncio.sleep(_LOG_WAIT_S)

    def _write(self, work: Callable[[Session], T]) -> T:
        with self._store.writing() as session:
            return work(session)


def _unreachable(name: str) -> str:
    return _NO_DEVICE if is_device(name) else _NO_URL
