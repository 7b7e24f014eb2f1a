"""How each field's status changed, and why."""

from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from watcher.store.tables import StatusChange


def record(
    session: Session,
    field: str,
    at: int,
    *,
    status: str,
    setup: str | None,
    reasons: list[Any],
) -> bool:
    """Keep a field's status if it, or the setup it is for, is another than before.

    Return whether it is. Reasons that change while the status stands are not kept.
    """
    before = _newest(session, field)
    if before is not None and (before.status, before.setup) == (status, setup):
        return False
    session.add(StatusChange(field=field, at=at, status=status, setup=setup, reasons=reasons))
    session.flush()
    return True


def current(session: Session) -> dict[str, StatusChange]:
    """Return every field's newest change, by field."""
    newest = select(func.max(StatusChange.id)).group_by(StatusChange.field)
    changes = session.scalars(select(StatusChange).where(StatusChange.id.in_(newest)))
    return {change.field: change for change in changes}


def history(session: Session, field: str, start: int, end: int) -> list[StatusChange]:
    """Return a field's changes in ``start <= time < end``, in order."""
    return list(
        session.scalars(
            select(StatusChange)
            .where(StatusChange.field == field, StatusChange.at >= start, StatusChange.at < end)
            .order_by(StatusChange.at, StatusChange.id)
        )
    )


def _newest(session: Session, field: str) -> StatusChange | None:
    return session.scalars(
        select(StatusChange)
        .where(StatusChange.field == field)
        .order_by(StatusChange.id.desc())
        .limit(1)
    ).one_or_none()
