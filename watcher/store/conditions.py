"""Which alert conditions are raised, so that a restart neither forgets nor repeats one."""

from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from watcher.store.tables import Condition
from watcher.store.upsert import insert_into


def raise_(session: Session, subject: str, kind: str, at: int, detail: dict[str, Any]) -> bool:
    """Raise a condition; return False when it is raised already.

    ``since`` is when it was raised; ``detail`` is always the newest.
    """
    insert = insert_into(session, Condition).values(
        subject=subject, kind=kind, state="raised", since=at, detail=detail
    )
    new = session.scalars(
        insert.on_conflict_do_update(
            index_elements=["subject", "kind"],
            set_={"state": "raised", "since": at, "said_at": None, "cleared_at": None},
            where=Condition.state == "cleared",
        ).returning(Condition.since)
    ).all()
    _change(session, subject, kind, detail=detail)
    return bool(new)


def clear(session: Session, subject: str, kind: str, at: int) -> bool:
    """Clear a condition; return False when it is not raised."""
    return _change(session, subject, kind, state="cleared", cleared_at=at)


def said(session: Session, subject: str, kind: str, at: int) -> bool:
    """Record that a raised condition was said to somebody; return False when it is not raised."""
    return _change(session, subject, kind, said_at=at)


def raised(session: Session) -> list[Condition]:
    """Return every raised condition, oldest first."""
    return list(
        session.scalars(
            select(Condition)
            .where(Condition.state == "raised")
            .order_by(Condition.since, Condition.subject, Condition.kind)
            .execution_options(populate_existing=True)
        )
    )


def condition(session: Session, subject: str, kind: str) -> Condition | None:
    """Return a condition, raised or cleared; None when it never was raised."""
    return session.get(Condition, (subject, kind), populate_existing=True)


def _change(session: Session, subject: str, kind: str, **values: object) -> bool:
    changed = session.scalars(
        update(Condition)
        .where(Condition.subject == subject, Condition.kind == kind, Condition.state == "raised")
        .values(**values)
        .returning(Condition.kind)
    )
    return bool(changed.all())
