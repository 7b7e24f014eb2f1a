"""Spraying jobs, with every step asked for and every event kept."""

from sqlalchemy import bindparam, func, or_, select
from sqlalchemy.orm import Session

from watcher.store.errors import UnknownJobError
from watcher.store.session import farm_of
from watcher.store.tables import Job, JobEvent, JobStep
from watcher.store.upsert import insert_into


class JobConflictError(Exception):
    """The field or the sprayer is in another open job."""


def start(
    session: Session,
    *,
    field: str,
    setup: str,
    sprayer: str,
    at: int,
    planned_s: float,
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
            note="",
        )
        .on_conflict_do_nothing()  # the indexes of open jobs decide, in whatever process
        .returning(Job.id)
    ).one_or_none()
    if number is None:
        raise JobConflictError(_conflict(session, field, sprayer))
    return session.get_one(Job, (farm_of(session), number))


def open_jobs(session: Session) -> list[Job]:
    """Return the jobs that are running or paused, oldest first."""
    return list(session.scalars(_OPEN))


def busy(session: Session, field: str, sprayer: str) -> bool:
    """Whether a field or a sprayer is in a job that is running or paused."""
    return any(job.field == field or job.sprayer == sprayer for job in open_jobs(session))


def job(session: Session, job_id: int, *, hold: bool = False) -> Job:
    """Return a job, held against other writers if asked. Raises ``UnknownJobError``."""
    found = session.get(
        Job, (farm_of(session), job_id), with_for_update=hold, populate_existing=True
    )
    if found is None:
        raise UnknownJobError(job_id)
    return found


def past_jobs(session: Session, start: int, end: int) -> list[Job]:
    """Return the jobs that started in ``start <= time < end``, open ones too, oldest first."""
    return list(session.scalars(_STARTED, {"start": start, "end": end}))


def events(session: Session, job_id: int) -> list[JobEvent]:
    """Return what was done to a job, in the order it was done."""
    return list(session.scalars(_EVENTS, {"job": job_id}))


def newest_event(session: Session) -> int:
    """Return the number of the newest event of any job; 0 before the first."""
    return session.scalars(select(func.max(JobEvent.id))).one() or 0


def events_after(session: Session, number: int, most: int) -> list[JobEvent]:
    """Return the events of all jobs after one, in the order they were kept."""
    return list(
        session.scalars(
            select(JobEvent).where(JobEvent.id > number).order_by(JobEvent.id).limit(most)
        )
    )


def noted(session: Session, what: str, since: int, until: int) -> list[tuple[Job, JobEvent]]:
    """Return what was noted in ``since < time <= until``, with jobs that went on until then."""
    found = session.execute(_NOTED, {"what": what, "since": since, "until": until})
    return [(job, event) for job, event in found]


def steps(session: Session, job_id: int) -> list[JobStep]:
    """Return every step that was asked for of a job, in the order they came in."""
    return list(
        session.scalars(select(JobStep).where(JobStep.job_id == job_id).order_by(JobStep.id))
    )


def step_of_key(session: Session, by: str, key: str) -> JobStep | None:
    """Return the step somebody asked for under a key."""
    return session.scalars(
        select(JobStep).where(JobStep.by == by, JobStep.key == key)
    ).one_or_none()


def overlapping(session: Session, field: str, sprayer: str, since: int) -> Job | None:
    """Return the first job of a field or a sprayer that was open at some time since then."""
    return session.scalars(
        select(Job)
        .where(
            or_(Job.field == field, Job.sprayer == sprayer),
            or_(Job.ended_at.is_(None), Job.ended_at > since),
        )
        .order_by(Job.id)
        .limit(1)
    ).one_or_none()


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


# Asked for with every reading: put together once.
_OPEN = select(Job).where(Job.ended_at.is_(None)).order_by(Job.id)
_STARTED = (
    select(Job)
    .where(Job.started_at >= bindparam("start"), Job.started_at < bindparam("end"))
    .order_by(Job.started_at, Job.id)
)
_EVENTS = (
    select(JobEvent).where(JobEvent.job_id == bindparam("job")).order_by(JobEvent.at, JobEvent.id)
)
_NOTED = (
    select(Job, JobEvent)
    .join(JobEvent, JobEvent.job_id == Job.id)
    .where(
        JobEvent.what == bindparam("what"),
        JobEvent.at > bindparam("since"),
        JobEvent.at <= bindparam("until"),
        or_(Job.ended_at.is_(None), Job.ended_at >= bindparam("until")),
    )
    .order_by(JobEvent.at, JobEvent.id)
)
