"""When the watch was running, and so when nobody watched."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from watcher.store.tables import WatchRun


def begin(session: Session, now: int) -> int:
    """Record that the watch starts; return the number of this run."""
    run = WatchRun(started_at=now, seen_at=now)
    session.add(run)
    session.flush()
    return run.id


def seen(session: Session, run_id: int, now: int) -> None:
    """Record that the watch is alive."""
    session.get_one(WatchRun, run_id).seen_at = now


def end(session: Session, run_id: int, now: int) -> None:
    """Record that the watch stops in good order."""
    run = session.get_one(WatchRun, run_id)
    run.seen_at = run.stopped_at = now


def last(session: Session) -> WatchRun | None:
    """Return the newest run; asked before ``begin``, the one before this one.

    The watch was down from its ``last_alive_at``; without ``stopped_at`` it was killed.
    """
    return session.scalars(select(WatchRun).order_by(WatchRun.id.desc()).limit(1)).one_or_none()
