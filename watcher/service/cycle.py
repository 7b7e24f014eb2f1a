"""What the watch does to the log: take weather in, judge, and write what changed. Blocking.

Each function is one transaction: a change of status or of a condition and the messages it causes
are kept together or not at all.
"""

from dataclasses import asdict, dataclass, field
from functools import partial
from typing import Any

import numpy as np
import structlog
from sqlalchemy.orm import Session

from watcher.alerts import cycle as alerts
from watcher.alerts import watch_runs
from watcher.alerts.acknowledgement import Links
from watcher.alerts.posting import Post
from watcher.alerts.wording.reasons import Speaker
from watcher.judge.plan import Plan
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.status import Stand
from watcher.records import book as records
from watcher.records.errors import RecordError
from watcher.service.clock import Clock
from watcher.service.health import Health, look
from watcher.service.intake import Intake
from watcher.service.picture import Picture, compose, take
from watcher.sources.base import Observations, Polled
from watcher.store import aggregates, health, runs, statuses, weather
from watcher.store.database import Log

log = structlog.get_logger("watcher.service")

Stands = dict[str, tuple[str, str | None]]
"""Status and setup by field."""
_RECORDS_SINCE_S = 2 * 86_400
"""Of older jobs nothing is kept by itself: the farm file may have changed since. [s]"""


@dataclass
class Book:
    """The log as one running watch writes in it."""

    plan: Plan
    store: Log
    clock: Clock
    keep_raw_s: float = np.inf
    """How long readings and forecasts are kept whole; for good unless told otherwise. [s]"""
    run_id: int | None = None
    links: Links | None = None
    """Makes the links by which alerts are acknowledged; None where nobody could open one."""
    post: Post = field(init=False)
    intake: Intake = field(init=False)
    _stands: Stands = field(default_factory=dict, init=False)
    """How the fields stood at the last judgement: to ask the log of each would take longer."""

    def __post_init__(self) -> None:
        self.intake = Intake(self.plan.farm)
        self.post = Post(Speaker(self.plan.farm), self.links)

    def begin(self) -> None:
        """Note that the watch runs from now on, and tell from when to when it did not."""
        now = self.clock.now()
        with self.store.writing() as session:
            watch_runs.tell_start(session, self.post, now)
            self.run_id = runs.begin(session, now)

    def end(self) -> None:
        """Note that the watch stops in good order, and tell those who are still spraying."""
        if self.run_id is None:
            return
        now = self.clock.now()
        with self.store.writing() as session:
            watch_runs.tell_stop(session, self.post, now)
            runs.end(session, self.run_id, now)

    def sees_again(self, since: int) -> None:
        """Tell those who heard that the log could not be used that it can be again."""
        with self.store.writing() as session:
            watch_runs.tell_sight(session, self.post, since, self.clock.now())

    def clock_jumped(self, by_s: float) -> None:
        """Tell those who are spraying that the machine's clock jumped."""
        with self.store.writing() as session:
            watch_runs.tell_clock_jump(session, self.post, self.clock.now(), by_s)

    def judge(self) -> Picture:
        """Judge the weather as the log has it, and write every change with what it causes."""
        now = self.clock.now()
        with self.store.writing() as session:
            picture = take(session, self.plan, now)
            stands = self._record_statuses(session, picture.ranking, now)
            told = alerts.run(
                session, self.post, picture.judgement, picture.outlook, picture.ranking
            )
            if self.run_id is not None:
                runs.seen(session, self.run_id, now)
        self._stands = stands  # not before it is kept
        if told:
            log.info("messages written", count=told)
        return picture

    def _record_statuses(self, session: Session, ranking: Ranking, now: int) -> Stands:
        """Record the statuses that are not as remembered; return how all fields stand."""
        every = ranking.every
        stands = {name: (seen.status.word, seen.setup) for name, seen in every.items()}
        for name, (word, setup) in stands.items():
            if self._stands.get(name) != (word, setup):
                reasons = _kept_reasons(every[name])
                statuses.record(session, name, now, status=word, setup=setup, reasons=reasons)
        return stands

    def keep_records(self) -> None:
        """Keep what is known of jobs that ended, for their records, while it is fresh."""
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
        with self.store.writing() as session:
            done = aggregates.tend(session, now, keep_raw_s=self.keep_raw_s)
        log.debug("log tended", **asdict(done))
        return done.more

    def take_in(self, observations: Observations) -> int:
        """Check a source's readings and keep them; returns how many are new."""
        now, source = self.clock.now(), observations.series.source
        with self.store.writing() as session:
            checked = self.intake.checked(session, observations, now)
            new = weather.add_observations(session, checked, now)
            newest = int(observations.series.times[-1]) if len(observations.series) else None
            health.answered(session, source, now, newest)
        return new

    def take_polled(self, source: str, polled: Polled) -> bool:
        """Keep what a feed brought; returns whether anything of it is new."""
        new = False
        if polled.observations is not None:
            new = self.take_in(polled.observations) > 0
        with self.store.writing() as session:
            if polled.forecast is not None:
                new = weather.add_forecast(session, polled.forecast) or new
            health.answered(session, source, self.clock.now(), None)
        return new

    def health(self, judged_at: int | None) -> Health:
        """Look at how the sources and the outbox are."""
        with self.store.reading() as session:
            return look(session, self.plan.farm, now=self.clock.now(), judged_at=judged_at)

    def source_failed(self, source: str, why: str) -> None:
        """Note that a source gave nothing usable, and why."""
        with self.store.writing() as session:
            health.failed(session, source, self.clock.now(), why)


def _kept_reasons(seen: FieldNow) -> list[dict[str, Any]]:
    """What decided, as plain values: every limit that does not hold, else the one that binds."""
    deciding = [r for r in seen.reasons if r.stand < Stand.HOLDS] or [seen.binding]
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
        for r in deciding
    ]


def _finite(value: float) -> float | None:
    """JSON knows neither NaN nor infinity."""
    return value if abs(value) < float("inf") else None
