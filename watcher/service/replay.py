"""Past weather through the same timeline, judgement and alerts: what would have been said when.

Everything goes into a log of its own that is thrown away; nothing is sent, nothing is written to
the log the weather comes from. As nobody answers, whatever asks to be seen goes on to the backup.
"""

import asyncio
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

import structlog

from watcher.delivery.channel import Attempt, Channel, Outcome, Sender
from watcher.delivery.worker import DeliveryWorker
from watcher.farm import Farm
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.clock import SetClock
from watcher.service.replay_events import Event, ReplayedStep
from watcher.service.transactions import Transactions
from watcher.sources.base import Observations, Polled
from watcher.store import outbox, weather
from watcher.store.arrivals import Arrived
from watcher.store.database import Database
from watcher.store.tables import Outgoing
from watcher.weather.bins import HOUR_S

_KEPT_S = 7 * 86_400
"""Of the replay's own log nothing older is asked for."""

log = structlog.get_logger("watcher.service")


@dataclass(frozen=True)
class Said:
    """A message as it would have been sent to one recipient."""

    at: int
    recipient: str
    title: str
    body: str
    urgent: bool


def replay(
    plan: FarmArrays,
    known: Sequence[Arrived],
    events: Iterable[Event],
    *,
    start: int,
    end: int,
    every_s: int,
) -> Iterator[Said]:
    """Yield what is said in ``start <= time < end``, as the events come.

    ``known`` is what was known before. ``events`` come in the order of their ``at``. It is judged
    every ``every_s`` seconds; the watch itself judges at every reading, so that what is said may
    come so much later here.
    """
    with (
        tempfile.TemporaryDirectory(prefix="watch-replay-") as folder,
        closing(Database(f"sqlite:///{Path(folder) / 'replay.db'}", lasting=False)) as own,
        asyncio.Runner() as runner,
    ):
        own.upgrade()
        stage = _Stage(plan, own, start)
        stage.learn(known)
        coming = _Coming(events)
        for at in range(start, end, every_s):
            stage.move_on(at, coming.until(at))
            if stage.has_mail():
                runner.run(stage.delivery.drain())
            yield from stage.said
            stage.said.clear()


class _Stage:
    """One replay: a log of its own, a clock that is set, and channels that only listen."""

    def __init__(self, plan: FarmArrays, own: Database, start: int) -> None:
        self._plan, self._log, self._clock = plan, own, SetClock(start)
        self._transactions = Transactions(plan, own, self._clock, keep_raw_s=_KEPT_S)
        self._jobs: dict[int, int] = {}
        self._tended_at = 0
        self.said: list[Said] = []
        self.delivery = _Listening(own, plan.farm, self._clock, self.said)

    def learn(self, known: Sequence[Arrived]) -> None:
        """Take in what was known before the watch began, and begin."""
        with self._log.writing() as session:
            for arrived in known:
                if arrived.observations is not None:
                    weather.add_observations(session, arrived.observations, arrived.at)
        for arrived in known:
            if arrived.forecast is not None:
                self._take(arrived)
        self._transactions.begin()

    def move_on(self, to: int, events: Sequence[Event]) -> None:
        """Take what came up to a moment, each at its time, move on to the moment and judge."""
        for event in _together(events):
            self._clock.at = max(event.at, self._clock.at)
            if isinstance(event, ReplayedStep):
                self._step(event)
            else:
                self._take(event)
        self._clock.at = to
        self._transactions.judge()
        if to - self._tended_at >= HOUR_S:
            self._tend(to)

    def has_mail(self) -> bool:
        """Whether a message is due."""
        with self._log.reading() as session:
            due = outbox.oldest_unsent(session)
        return due is not None and due <= self._clock.at

    def _tend(self, now: int) -> None:
        """Make the hours' bins, as the service does in its background: judgements read them."""
        self._tended_at = now
        while self._transactions.tend():
            pass

    def _take(self, arrived: Arrived) -> None:
        if arrived.observations is not None:
            self._transactions.take_in(arrived.observations)
        elif arrived.forecast is not None:
            fetched_at = min(self._clock.at, arrived.forecast.fetched_at)
            forecast = replace(arrived.forecast, fetched_at=fetched_at)
            self._transactions.take_polled(forecast.series.source, Polled(forecast=forecast))

    def _step(self, taken: ReplayedStep) -> None:
        if taken.name is not StepName.START and taken.job_id not in self._jobs:
            return
        number = self._jobs.get(taken.job_id)
        step = StepRequest(
            taken.name,
            "",
            job=number,
            field=taken.field,
            setup=taken.setup,
            done=taken.done,
            measured=taken.said if taken.name is StepName.READING else {},
            changed=taken.said if taken.name is StepName.CHANGE else {},
        )
        became = self._transactions.take_step(step, asks=False)
        if became.job is not None:
            self._jobs[taken.job_id] = became.job.id
        if became.outcome is StepOutcome.REFUSED:
            log.error("what was done to a job is left out", job=taken.job_id, why=became.text)


class _Coming:
    """Events, taken as far as time has come."""

    def __init__(self, events: Iterable[Event]) -> None:
        self._events = iter(events)
        self._next = next(self._events, None)

    def until(self, at: int) -> list[Event]:
        """Return the events up to a moment that were not returned before."""
        came: list[Event] = []
        while self._next is not None and self._next.at <= at:
            came.append(self._next)
            self._next = next(self._events, None)
        return came


def _together(events: Sequence[Event]) -> Iterator[Event]:
    """Yield events with readings of a source that follow each other as one: checked at once."""
    for are_readings, stretch in groupby(events, key=_readings):
        if not are_readings:
            yield from stretch
            continue
        by_source: dict[str, Arrived] = {}
        for event in stretch:
            if isinstance(event, Arrived) and event.observations is not None:
                source = event.observations.series.source
                joined = _after(by_source.get(source), event.at, event.observations)
                if joined is None:
                    yield by_source.pop(source)
                by_source[source] = joined or event
        yield from by_source.values()


def _readings(event: Event) -> bool:
    return isinstance(event, Arrived) and event.observations is not None


def _after(before: Arrived | None, at: int, new: Observations) -> Arrived | None:
    """Return readings and those before them as one, None where they don't follow them."""
    if before is None or before.observations is None:
        return Arrived(at, new)
    if before.observations.series.times[-1] >= new.series.times[0]:
        return None
    return Arrived(at, new.after(before.observations))


class _Page(Channel):
    """Where a recipient's messages end: on paper."""

    def __init__(self, recipient: str, clock: SetClock, said: list[Said]) -> None:
        self._recipient, self._clock, self._said = recipient, clock, said

    async def send(
        self,
        title: str,
        body: str,
        *,
        urgent: bool,
        rows: Sequence[Outgoing] = (),
        now: int = 0,
    ) -> Attempt:
        """Keep what would have been sent."""
        self._said.append(Said(self._clock.at, self._recipient, title, body, urgent))
        return Attempt(Outcome.SENT)


class _Listening(DeliveryWorker):
    """The delivery worker with a page for every recipient in place of a URL."""

    def __init__(self, own: Database, farm: Farm, clock: SetClock, said: list[Said]) -> None:
        super().__init__(own, farm, {}, now=clock.now)
        self._pages = {name: _Page(name, clock, said) for name in farm.config.recipients}

    def _reached(self) -> list[str]:
        return list(self._pages)

    def _by_url(self, name: str) -> Sender | None:
        return self._pages.get(name)
