"""Jobs as they are looked at: which are open, which were, and what was done to one."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from watcher.jobs import commands
from watcher.jobs.steps import EVENT_OF, in_order, sprayed_s
from watcher.store import jobs
from watcher.store.tables import Job, JobEvent


@dataclass(frozen=True)
class JobView:
    """A job, and how long it has been spraying until now or until its end. [s]"""

    job: Job
    sprayed_s: float


@dataclass(frozen=True)
class JobStory:
    """A job and every step that was taken, in order."""

    view: JobView
    steps: Sequence[JobEvent]
    left: float | None = None
    """The share of the field it was begun for, where a part was sprayed before."""


def view(job: Job, now: int) -> JobView:
    """Look at a job as it is now. [epoch s]"""
    return JobView(job, sprayed_s(job, now if job.ended_at is None else job.ended_at))


def opened(session: Session, now: int) -> list[JobView]:
    """Return the jobs that are running or paused, oldest first."""
    return [view(job, now) for job in jobs.open_jobs(session)]


def started(session: Session, start: int, end: int, now: int) -> list[JobView]:
    """Return the jobs that started in ``start <= time < end``, open ones too, oldest first."""
    return [view(job, now) for job in jobs.past_jobs(session, start, end)]


def story(session: Session, number: int, now: int) -> JobStory:
    """Return a job with its steps. Raises UnknownJobError."""
    taken = [event for event in jobs.events(session, number) if event.what in EVENT_OF.values()]
    first = next(iter(in_order(jobs.steps(session, number))), None)
    left = None if first is None else first.detail.get("left")
    return JobStory(view(jobs.job(session, number), now), taken, left)


def wind_strays(session: Session, number: int, source: str) -> float:
    """How far the wind of a station strays against the usual, as learned for a job; 1 is usual."""
    return commands.wind_strays(jobs.events(session, number), source) or 1.0
