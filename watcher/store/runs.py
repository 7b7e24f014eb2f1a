"""When the watch was running, and so when nobody watched."""

from sqlalchemy import bindparam, func, select, update
from sqlalchemy.exc import NoResultFound
from sqlalchemy.orm import Session

from watcher.store.session import farm_of
from watcher.store.tables import WatchRun


def begin(session: Session, now: int) -> int:
    """Record that the watch starts; return the number of this run."""
    run = WatchRun(started_at=now, seen_at=now)
    session.add(run)
    session.flush()
    return run.id


def seen(session: Session, run_id: int, now: int) -> None:
    """Record that the watch is alive."""
    seen = session.execute(_SEEN, {"run": run_id, "at": now})
    if not seen.rowcount:  # type: ignore[attr-defined]
        raise NoResultFound(f"no run {run_id} in the log")


def touch(session: Session) -> None:
    """Write the newest run as it is: fails where the log cannot be written."""
    newest = select(func.max(WatchRun.id)).scalar_subquery()
    session.execute(update(WatchRun).where(WatchRun.id == newest).values(seen_at=WatchRun.seen_at))


def end(session: Session, run_id: int, now: int) -> None:
    """Record that the watch stops in good order."""
    run = session.get_one(WatchRun, (farm_of(session), run_id))
    run.seen_at = run.stopped_at = now


def get(session: Session, run_id: int) -> WatchRun | None:
    """Return a run by its number."""
    return session.get(WatchRun, (farm_of(session), run_id))


def first(session: Session) -> WatchRun | None:
    """Return the log's very first run: no other log has the same."""
    return session.scalars(select(WatchRun).order_by(WatchRun.id).limit(1)).one_or_none()


def last(session: Session) -> WatchRun | None:
    """Return the newest run; asked before ``begin``, the one before this one.

    The watch was down from its ``last_alive_at``; without ``stopped_at`` it was killed.
    """
    return session.scalars(select(WatchRun).order_by(WatchRun.id.desc()).limit(1)).one_or_none()


# Asked for with every reading: put together once.
_SEEN = (
    update(WatchRun)
    .where(WatchRun.id == bindparam("run"))
    .values(seen_at=bindparam("at"))
    .execution_options(synchronize_session=False)
)
