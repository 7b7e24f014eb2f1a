"""Entries of application records, in and out of the log: added at the end, never changed."""

from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from watcher.store import farm_key
from watcher.store.tables import Observation, Outgoing, RecordEntry

_ROWS_AT_ONCE = 500


def last_entry(session: Session, *, hold: bool = False) -> RecordEntry | None:
    """Return the newest entry, None before the first one.

    ``hold``: nobody else adds one until this transaction ends, so that two cannot follow the same.
    """
    connection = session.connection()
    if hold and connection.dialect.name == "postgresql":  # a SQLite writer is alone
        farm_key.hold(connection)
    return session.scalars(
        select(RecordEntry).order_by(RecordEntry.number.desc()).limit(1)
    ).one_or_none()


def add_entry(session: Session, entry: RecordEntry) -> None:
    """Add an entry after the newest one."""
    session.add(entry)
    session.flush()


def entries(
    session: Session, job_id: int | None = None, *, at_once: int = _ROWS_AT_ONCE
) -> Iterator[RecordEntry]:
    """Yield the entries of a job, or of all, in their order; read from the log bit by bit."""
    wanted = select(RecordEntry).order_by(RecordEntry.number)
    if job_id is not None:
        wanted = wanted.where(RecordEntry.job_id == job_id)
    # Closed even when nobody reads on: a server keeps a cursor open for it.
    with session.scalars(wanted.execution_options(yield_per=at_once)) as found:
        yield from found


def is_closed(session: Session, job_id: int) -> bool:
    """Whether the record of a job is closed: from then on it is only corrected."""
    wanted = select(RecordEntry.number).where(
        RecordEntry.job_id == job_id, RecordEntry.kind == "closed"
    )
    return session.scalars(wanted.limit(1)).first() is not None


def recorded_jobs(session: Session) -> list[int]:
    """Return the numbers of the jobs that have a record, in their order."""
    wanted = select(RecordEntry.job_id).distinct().order_by(RecordEntry.job_id)
    return [number for number in session.scalars(wanted) if number is not None]


def of_no_job(session: Session, kind: str) -> list[RecordEntry]:
    """Return the entries of a kind that are of no job, in their order."""
    wanted = select(RecordEntry).where(RecordEntry.job_id.is_(None), RecordEntry.kind == kind)
    return list(session.scalars(wanted.order_by(RecordEntry.number)))


def arrivals(
    session: Session, source: str, start: int, end: int
) -> list[tuple[int, int, dict[str, int]]]:
    """Return time, time of arrival and flags of a source's readings, ``start <= time < end``."""
    found = session.execute(
        select(Observation.time, Observation.received_at, Observation.flags)
        .where(Observation.source == source, Observation.time >= start, Observation.time < end)
        .order_by(Observation.time)
    )
    return [(row[0], row[1], row[2] or {}) for row in found]


def messages_about(session: Session, about: str) -> list[Outgoing]:
    """Return every message about a thing, in the order they were written."""
    return list(
        session.scalars(select(Outgoing).where(Outgoing.about == about).order_by(Outgoing.id))
    )
