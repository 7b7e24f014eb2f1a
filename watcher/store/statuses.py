"""How each field's status changed, and why."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from watcher.store.tables import StatusChange


class Stand(NamedTuple):
    """A field's status, the setup it is for, and why it is so."""

    status: str
    setup: str | None
    reasons: list[Any]


def record(session: Session, at: int, changed: Mapping[str, Stand]) -> None:
    """Keep the status of fields where it, or the setup it is for, is another than before."""
    rows = [StatusChange(field=name, at=at, **stand._asdict()) for name, stand in changed.items()]
    session.add_all(rows)
    session.flush()


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
