"""What the watch does to the log: take weather in, judge, and write what changed. Blocking.

Each function is one transaction: a change of status or of a condition and the messages it causes
are kept together or not at all.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
import structlog
from sqlalchemy.orm import Session

from watcher.alerts import cycle as alerts
from watcher.alerts import watch_runs, watch_trouble
from watcher.alerts.context import Begun
from watcher.alerts.enqueue import Enqueue
from watcher.alerts.watch_trouble import WELL, Trouble
from watcher.delivery.acknowledgement import Links
from watcher.delivery.addressees import SubscribedDevices
from watcher.jobs import commands as job_commands
from watcher.jobs.changes import changed_rigs
from watcher.jobs.commands import StepTaken
from watcher.jobs.recently_sprayed import recently_sprayed
from watcher.jobs.steps import StepName, StepRequest
from watcher.judge.chances import FarmChances
from watcher.judge.present import Present
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.start_check import Look, Obstacle
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.records import commands as records
from watcher.records.errors import RecordError
from watcher.service.clock import Clock
from watcher.service.day_plan import plan_now
from watcher.service.health import Health, look
from watcher.service.intake import Intake
from watcher.service.kept_farm import KeptFarm
from watcher.service.kept_secrets import Secrets
from watcher.service.refusals import Refusals
from watcher.service.snapshot import Snapshot, compose, compose_from, judged, take
from watcher.service.timekeeping import Timekeeper
from watcher.source_view import SourceView, look_at_source, look_at_sources
from watcher.sources.base import Observations, Polled, SourceError
from watcher.sources.quality.check import dated
from watcher.store import aggregates, health, rain, refused, runs, statuses, weather
from watcher.store.database import Database
from watcher.store.errors import LogError
from watcher.store.jobs import open_jobs
from watcher.store.last_known import Loss
from watcher.store.recent import RecentWeather
from watcher.store.recovery import OwnLog

log = structlog.get_logger("watcher.service")


class GivenUpError(Exception):
    """A judgement came too late to be wanted; nothing of it is kept."""


Stands = dict[str, tuple[str, str | None]]
"""Status and setup by field."""
_RECORDS_SINCE_S = 2 * 86_400
"""Of older jobs nothing is kept by itself: the farm file may have changed since. [s]"""


@dataclass(frozen=True)
class Posted:
    """What became of the readings a station posted. ``at`` is when, in epoch seconds."""

    at: int
    new: int
    """How many rows of the log are new or other than they were."""
    posted: Observations
    """As they were posted."""
    checked: Observations
    """As they stand now, with what the checks found."""

    @property
    def said(self) -> set[str]:
        """The quantities that were posted."""
        return {n for n, v in self.posted.series.quantities().items() if np.isfinite(v).any()}

    def doubted(self) -> list[tuple[int, str, int]]:
        """Return time, quantity and findings of every posted value with a finding."""
        found = []
        for name, bits in self.checked.flags.items():
            at = np.flatnonzero((bits != 0) & ~np.isnan(getattr(self.posted.series, name)))
            found += [(int(self.posted.series.times[i]), name, int(bits[i])) for i in at]
        return sorted(found)


@dataclass
class Transactions:
    """The log as one running watch writes in it."""

    plan: FarmArrays
    store: Database
    clock: Clock
    keep_raw_s: float = np.inf
    """How long readings and forecasts are kept whole; for good unless given. [s]"""
    run_id: int | None = None
    chances: FarmChances | None = None
    """How likely jobs hold, as last worked out."""
    links: Links | None = None
    """Makes the links by which alerts are acknowledged; None where nobody could open one."""
    subscribed: SubscribedDevices | None = None
    """Devices that take pushes; None where nothing is pushed."""
    own: OwnLog | None = None
    """Opens the log and keeps what was last known of it; None where others look after that."""
    instead: KeptFarm | None = None
    """The earlier farm that is used, as the farm file has mistakes; None where it has none."""
    secrets: Secrets | None = None
    """What recipients are reached with; None where others look after that."""
    stands_in: bool = False
    """Whether it writes in a log that stands in for the real one: no trouble is over by that."""
    post: Enqueue = field(init=False)
    time: Timekeeper = field(init=False)
    intake: Intake = field(init=False)
    refusals: Refusals = field(init=False)
    present: Present = field(default_factory=Present, init=False)
    _stands: Stands | None = field(default=None, init=False)
    """How the fields stood at the last judgement; None before the first one of this watch."""
    _begun: Begun | None = field(default=None, init=False)
    _troubled: bool = field(default=True, init=False)
    """Whether a trouble may have been alerted that is not yet said to be over."""

    def __post_init__(self) -> None:
        self.intake = Intake(self.plan.farm)
        self.refusals = Refusals(self.plan.farm.config.sources)
        self.post = Enqueue(Speaker(self.plan.farm), self.links, self.subscribed)
        self.time = Timekeeper(self.clock, self.post)

    def use(self, plan: FarmArrays) -> None:
        """Go by another farm from now on; what is remembered of sources and fields stays."""
        self.plan, self.chances = plan, None
        self.intake.farm = plan.farm
        self.refusals.use(plan.farm.config.sources)
        self.post = self.time.post = Enqueue(Speaker(plan.farm), self.links, self.subscribed)

    def open(self) -> Loss | None:
        """Take the log for this watch, whatever became of it; returns what was lost of it.

        To be called again changes nothing. Raises ``LogError``.
        """
        return None if self.own is None else self.own.open(self.clock.now())

    def begin(self) -> None:
        """Note that the watch runs from now on, and tell from when to when it did not."""
        now, loss = self.clock.now(), self.open()
        with self.store.writing() as session:
            first = runs.last(session) is None and loss is None
            self._begun = Begun(now, first)
            # A loss is alerted instead of the start: it says since when nobody watched.
            self.run_id = self.time.begin(session, tell=loss is None)
            if loss is not None:
                # What stood in for the log may have given some of the jobs back.
                loss = loss.without(open_jobs(session))
                log.error("the log lost something", **loss.model_dump(mode="json"))
                watch_runs.tell_loss(session, self.post, loss, now)
            if self.instead is not None:
                mistakes, since = self.instead.mistakes, self.instead.checked_at
                watch_runs.tell_mistakes(session, self.post, mistakes, since, now)
            if self.secrets is not None and self.secrets.troubles:
                watch_runs.tell_secrets(
                    session, self.post, self.secrets.troubles, now, lost=self.secrets.lost
                )
        self.note_known()

    def note_known(self) -> None:
        """Keep beside the log what it knows, for when it is damaged or emptied."""
        if self.own is None:
            return
        try:
            self.own.note()
        except OSError as error:
            log.warning("nothing can be kept beside the log", why=error.strerror)

    def end(self) -> None:
        """Note that the watch stops in good order, and tell those who are still spraying."""
        if self.run_id is None:
            return
        now = self.clock.now()
        with self.store.writing() as session:
            watch_runs.tell_stop(session, self.post, now)
            runs.end(session, self.run_id, now)
        self.note_known()

    def tell_trouble(self, trouble: Trouble) -> None:
        """Tell what is wrong with the watch itself."""
        self._troubled = True
        with self.store.writing() as session:
            watch_trouble.tell(session, self.post, trouble, self.clock.now())

    def end_blind(self, why: str) -> None:
        """Tell that the watch stops while its log cannot be used."""
        now = self.clock.now()
        with self.store.writing() as session:
            watch_runs.tell_blind_stop(session, self.post, why, now)
            if self.run_id is not None:
                runs.end(session, self.run_id, now)

    def probe(self) -> None:
        """Write into the log, and raise LogError where that cannot be done."""
        if self.run_id is None:
            self.open()
        with self.store.writing() as session:
            runs.touch(session)

    def was_troubled(self) -> None:
        """Take note that the log may remember a trouble: the next judgement tells its end."""
        self._troubled = True

    def judge(self, wanted: Callable[[], bool] = lambda: True) -> Snapshot:
        """Judge the weather as the log has it, and write every change with what it causes.

        The judgement itself is made between two transactions: it never holds up a writer. While
        nobody knows what time it is everything is unknown, and nothing else is alerted. Raises
        GivenUpError, and keeps nothing, where it is no longer ``wanted`` when all is written.
        """
        if self.time.set_right(self.store):
            self.intake = Intake(self.plan.farm)  # what it remembers is of the old times
        now = self.clock.now()
        self._keep_refused()
        with self.store.reading() as session:
            recent = RecentWeather(session, now)
            timeline = compose_from(recent, self.plan)
            sources = look_at_sources(recent, self.plan.farm)
            lately = recently_sprayed(session, self.plan.farm, now)
            day_plan = plan_now(session, self.plan.farm, now)
            rigs = changed_rigs(session, now)
        snapshot = judged(
            self.plan,
            timeline,
            lately,
            self.chances,
            day_plan=day_plan,
            rigs=rigs,
            present=self.present,
        )
        with self.store.writing() as session:
            if not self.time.look(session):
                if self.run_id is not None:
                    runs.seen(session, self.run_id, now)
                return take(session, self.plan, now, time_known=False)
            stands = self._record_statuses(session, snapshot.ranking, now)
            cycle = alerts.run(
                session,
                self.post,
                snapshot.judgement,
                snapshot.timeline,
                snapshot.ranking,
                begun=self._begun,
                plan=snapshot.plan,
                chances=self.chances,
                sources=sources,
            )
            written = cycle.written
            if self._troubled and not self.stands_in:
                written += watch_trouble.tell(session, self.post, WELL, now)
            if self.run_id is not None:
                runs.seen(session, self.run_id, now)
            if not wanted():
                raise GivenUpError
        self._stands = stands  # not before it is kept
        self._troubled = False
        if written:
            log.info("messages written", count=written)
        return replace(snapshot, actions=cycle.actions, sources=sources)

    def _keep_refused(self) -> None:
        """Count in the posts refused since the last time: one row, however many came."""
        taken = self.refusals.take()
        if not taken:
            return
        try:
            with self.store.writing() as session:
                refused.add(session, taken, self.clock.now())
        except LogError:
            self.refusals.put_back(taken)
            raise

    def _record_statuses(self, session: Session, ranking: Ranking, now: int) -> Stands:
        """Record the statuses that are not as before; return how all fields stand."""
        before = self._stands
        if before is None:
            kept = statuses.current(session)
            before = {name: (change.status, change.setup) for name, change in kept.items()}
        every = ranking.every
        stands = {name: (seen.status.word, seen.setup) for name, seen in every.items()}
        changed = {
            name: statuses.Stand(*stand, _kept_reasons(every[name]))
            for name, stand in stands.items()
            if before.get(name) != stand
        }
        statuses.record(session, now, changed)
        return stands

    def keep_records(self) -> None:
        """Keep what is known of jobs that ended, for their records, while it is fresh."""
        if self.time.lost:
            return
        now = self.clock.now()
        with self.store.reading() as session:
            waiting = records.unkept(session, now - _RECORDS_SINCE_S, now)
        for job in waiting:
            try:
                with self.store.writing() as session:
                    weather_at = partial(compose, session, self.plan)
                    records.keep(session, self.plan, weather_at, job, by="the watch", now=now)
            except RecordError as error:
                log.warning("nothing kept of a job", job=job, why=str(error))

    def tend(self) -> bool:
        """Do a bounded part of what the log needs to last for years; returns whether more waits."""
        now = self.clock.now()
        keep_raw_s = self.keep_raw_s if self.time.dated else np.inf
        with self.store.writing() as session:
            done = aggregates.tend(session, now, keep_raw_s=keep_raw_s)
        log.debug("log tended", **asdict(done))
        return done.more

    def take_step(self, step: StepRequest, *, asks: bool = True) -> StepTaken:
        """Take a step of a job. Raises BadStepError and UnknownJobError, with nothing done.

        A start is held against the weather of this moment, unless it ``asks`` nothing: what is
        taken again was answered long ago.
        """
        look: Look = _nothing_against
        if asks and step.name is StepName.START:
            with self.store.reading() as session:
                look = take(
                    session, self.plan, self.clock.now(), time_known=not self.time.lost
                ).against_start
        with self.store.writing() as session:
            return job_commands.take(session, self.plan, step, self.clock.now(), look)

    def take_in(self, observations: Observations) -> int:
        """Check a source's readings and keep them; returns how many are new or corrected."""
        return self._take_in(observations)[0]

    def take_posted(self, observations: Observations) -> Posted:
        """Do the same with what a station posts; returns what became of it."""
        new, posted, checked = self._take_in(observations)
        return Posted(self.clock.now(), new, posted, checked)

    def look_at_station(self, name: str) -> SourceView:
        """Look at how one source is now."""
        with self.store.reading() as session:
            recent = RecentWeather(session, self.clock.now())
            return look_at_source(recent, self.plan.farm, name)

    def _take_in(self, observations: Observations) -> tuple[int, Observations, Observations]:
        """Return how many rows are new, the readings with rates of rain, and those checked."""
        now, source = self.clock.now(), observations.series.source
        with self.store.writing() as session:
            observations = rain.with_rates(session, observations, now)
            checked = self.intake.checked(session, dated(observations, now), now)
            new = weather.add_observations(session, checked, now)
            newest = int(observations.series.times[-1]) if len(observations.series) else None
            health.answered(session, source, now, newest, ignored=observations.ignored)
        return new, observations, checked

    def take_polled(self, source: str, polled: Polled) -> bool:
        """Keep what a feed brought and is believed of it; returns whether anything of it is new.

        A forecast that is refused counts as a failure of the source: the one before it stands.
        """
        new, now, doubts = False, self.clock.now(), ""
        if polled.observations is not None:
            if len(polled.observations.series):
                self.time.hear(source, int(polled.observations.series.times[-1]))
            new = self.take_in(polled.observations) > 0
        with self.store.writing() as session:
            if polled.forecast is not None:
                try:
                    passed = self.intake.forecast(session, polled.forecast, now)
                except SourceError as error:
                    log.warning("forecast refused", source=source, why=str(error))
                    health.failed(session, source, now, str(error))
                    return new
                doubts = "; ".join(passed.doubts)
                new = weather.add_forecast(session, passed.forecast) or new
            health.answered(session, source, now, None, but=doubts)
        if doubts:
            log.warning("not all of a forecast is believed", source=source, why=doubts)
        return new

    def health(self, judged_at: int | None) -> Health:
        """Look at how the sources and the outbox are."""
        self._keep_refused()
        with self.store.reading() as session:
            return look(
                session,
                self.plan.farm,
                now=self.clock.now(),
                judged_at=judged_at,
                doubt=self.time.doubt,
                farm_mistakes=() if self.instead is None else self.instead.mistakes,
            )

    def source_failed(self, source: str, why: str) -> None:
        """Note that a source gave nothing usable, and why."""
        with self.store.writing() as session:
            health.failed(session, source, self.clock.now(), why)


def _nothing_against(_field: str, _setup: str) -> tuple[Obstacle, ...]:
    return ()


def _kept_reasons(seen: FieldNow) -> list[dict[str, Any]]:
    """What decided, as plain values."""
    return [
        {
            "limit": r.limit.value,
            "stand": r.stand.name.lower(),
            "value": _finite(r.value),
            "low": _finite(r.low),
            "high": _finite(r.high),
            "origin": r.origin.value,
            "headroom": _finite(r.headroom),
            "neighbours": list(r.neighbours),
        }
        for r in seen.case.deciding
    ]


def _finite(value: float) -> float | None:
    """JSON knows neither NaN nor infinity."""
    return value if abs(value) < float("inf") else None
