"""How each source is doing: when it was asked, when it answered, how new its weather is."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from watcher.store.tables import SourceHealth
from watcher.store.upsert import insert_into


def answered(session: Session, source: str, at: int, newest_reading_at: int | None) -> None:
    """Record that a source answered, with the time of the newest reading in its answer.

    None when the answer held no reading. An answer older than an earlier one does not make the
    source look older.
    """
    health = _held(session, source)
    health.state = "answering"
    health.asked_at = health.answered_at = at
    health.failures_in_a_row = 0
    health.why = None
    times = (health.newest_reading_at, newest_reading_at)
    health.newest_reading_at = max((time for time in times if time is not None), default=None)


def failed(session: Session, source: str, at: int, why: str) -> int:
    """Record that a source failed, and why; return how often it failed in a row."""
    health = _held(session, source)
    health.state = "failing"
    health.asked_at = at
    health.failures_in_a_row += 1
    health.why = why
    return health.failures_in_a_row


def all_sources(session: Session) -> list[SourceHealth]:
    """Return the health of every source that was ever asked, by name."""
    return list(session.scalars(select(SourceHealth).order_by(SourceHealth.source)))


def _held(session: Session, source: str) -> SourceHealth:
    """Return a source's row, made if it is new, held until the transaction ends."""
    session.execute(
        insert_into(session, SourceHealth)
        .values(source=source, state="unknown", failures_in_a_row=0)
        .on_conflict_do_nothing()
    )
    return session.get_one(SourceHealth, source, with_for_update=True)
