"""Spraying jobs: started, paused, resumed, ended, with every step kept."""

from typing import Any, Literal

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from watcher.store.tables import Job, JobEvent, JobState
from watcher.store.upsert import insert_into


class JobConflictError(Exception):
    """The field or the sprayer is in another open job, or the step does not fit the job's state."""


class UnknownJobError(LookupError):
    """There is no job of that number."""


def start(
    session: Session,
    *,
    field: str,
    setup: str,
    sprayer: str,
    at: int,
    planned_s: float,
    note: str = "",
) -> Job:
    """Start a job of ``planned_s`` seconds. Raises ``JobConflictError``."""
    number = session.scalars(
        insert_into(session, Job)
        .values(
            field=field,
            setup=setup,
            sprayer=sprayer,
            state="running",
            started_at=at,
            planned_s=planned_s,
            paused_s=0,
            note=note,
        )
        .on_conflict_do_nothing()  # the indexes of open jobs decide, in whatever process
        .returning(Job.id)
    ).one_or_none()
    if number is None:
        raise JobConflictError(_conflict(session, field, sprayer))
    job = session.get_one(Job, number)
    _note_event(session, job, at, "started", {"setup": setup, "sprayer": sprayer})
    return job


def pause(session: Session, job_id: int, at: int, why: str = "") -> Job:
    """Pause a running job."""
    job = _job_in(session, job_id, "pause", "running")
    job.state = "paused"
    job.paused_at = at
    _note_event(session, job, at, "paused", {"why": why})
    return job


def resume(session: Session, job_id: int, at: int) -> Job:
    """Go on with a paused job."""
    job = _job_in(session, job_id, "resume", "paused")
    job.state = "running"
    _end_pause(job, at)
    _note_event(session, job, at, "resumed", {})
    return job


def change_setup(session: Session, job_id: int, setup: str, at: int) -> Job:
    """Go on with another setup."""
    job = _job_in(session, job_id, "change the setup of", "running", "paused")
    _note_event(session, job, at, "setup changed", {"from": job.setup, "to": setup})
    job.setup = setup
    return job


def finish(session: Session, job_id: int, at: int, note: str = "") -> Job:
    """End a job whose field is done."""
    return _end(session, job_id, "finished", at, note)


def abandon(session: Session, job_id: int, at: int, note: str = "") -> Job:
    """End a job whose field is not done."""
    return _end(session, job_id, "abandoned", at, note)


def open_jobs(session: Session) -> list[Job]:
    """Return the jobs that are running or paused, oldest first."""
    return list(session.scalars(select(Job).where(Job.ended_at.is_(None)).order_by(Job.id)))


def job(session: Session, job_id: int, *, hold: bool = False) -> Job:
    """Return a job, held against other writers if asked. Raises ``UnknownJobError``."""
    found = session.get(Job, job_id, with_for_update=hold, populate_existing=True)
    if found is None:
        raise UnknownJobError(f"there is no job {job_id}; list the jobs to see their numbers")
    return found


def past_jobs(session: Session, start: int, end: int) -> list[Job]:
    """Return the jobs that started in ``start <= time < end``, open ones too, oldest first."""
    return list(
        session.scalars(
            select(Job)
            .where(Job.started_at >= start, Job.started_at < end)
            .order_by(Job.started_at, Job.id)
        )
    )


def events(session: Session, job_id: int) -> list[JobEvent]:
    """Return what was done to a job, in the order it was done."""
    return list(
        session.scalars(select(JobEvent).where(JobEvent.job_id == job_id).order_by(JobEvent.id))
    )


def _end(
    session: Session, job_id: int, state: Literal["finished", "abandoned"], at: int, note: str
) -> Job:
    job = _job_in(session, job_id, "end", "running", "paused")
    if job.state == "paused":
        _end_pause(job, at)
    job.state = state
    job.ended_at = at
    job.note = "\n".join(filter(None, (job.note, note)))
    _note_event(session, job, at, state, {"note": note})
    return job


def _end_pause(job: Job, at: int) -> None:
    # A clock that was set back must not make a pause shorter than nothing.
    job.paused_s += max(0, at - (at if job.paused_at is None else job.paused_at))
    job.paused_at = None


def _job_in(session: Session, job_id: int, step: str, *states: JobState) -> Job:
    """Return a job, held until the transaction ends, if it is in a state the step fits."""
    found = job(session, job_id, hold=True)
    if found.state not in states:
        raise JobConflictError(f"cannot {step} job {job_id} on {found.field}: it is {found.state}")
    return found


def _conflict(session: Session, field: str, sprayer: str) -> str:
    other = session.scalars(
        select(Job)
        .where(Job.ended_at.is_(None), or_(Job.field == field, Job.sprayer == sprayer))
        .order_by(Job.id)
        .limit(1)
    ).one_or_none()
    if other is None:
        return f"another job on {field} or with {sprayer} was open a moment ago; try again"
    what = f"field {field}" if other.field == field else f"sprayer {sprayer}"
    return (
        f"{what} is in job {other.id} on {other.field}, which is {other.state}; "
        "finish or abandon that one first"
    )


def _note_event(session: Session, job: Job, at: int, what: str, detail: dict[str, Any]) -> None:
    session.add(JobEvent(job_id=job.id, at=at, what=what, detail=detail))
