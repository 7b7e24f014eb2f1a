"""Which alert conditions are raised, so that a restart neither forgets nor repeats one."""

from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

from sqlalchemy import or_, select, tuple_, update
from sqlalchemy.orm import Session

from watcher.store.session import farm_of
from watcher.store.tables import Condition
from watcher.store.upsert import insert_into


class Raised(NamedTuple):
    """A condition that is so: since when, and when it was last said to somebody, if it was."""

    subject: str
    kind: str
    since: int
    detail: dict[str, Any]
    said_at: int | None = None


def keep(session: Session, conditions: Sequence[Raised]) -> None:
    """Keep conditions as they are now, whether they were raised before, cleared or neither."""
    if not conditions:
        return
    insert = insert_into(session, Condition)
    new = ("state", "since", "said_at", "cleared_at", "detail")
    session.execute(
        insert.on_conflict_do_update(
            index_elements=["farm", "subject", "kind"],
            set_={name: insert.excluded[name] for name in new},
        ),
        [one._asdict() | {"state": "raised", "cleared_at": None} for one in conditions],
    )


def clear(session: Session, keys: Collection[tuple[str, str]], at: int) -> None:
    """Clear conditions, each by subject and kind. One that is not raised stays as it is."""
    if not keys:
        return
    session.execute(
        update(Condition)
        .where(tuple_(Condition.subject, Condition.kind).in_(keys), Condition.state == "raised")
        .values(state="cleared", cleared_at=at)
        .execution_options(synchronize_session=False)
    )


def raised(session: Session) -> list[Condition]:
    """Return every raised condition, oldest first."""
    return list(session.scalars(_RAISED))


def condition(session: Session, subject: str, kind: str) -> Condition | None:
    """Return a condition, raised or cleared; None when it never was raised."""
    return session.get(Condition, (farm_of(session), subject, kind), populate_existing=True)


def changed_since(session: Session, since: int) -> list[Condition]:
    """Return the conditions that were said or cleared since then, of those that ever were said."""
    return list(
        session.scalars(
            select(Condition)
            .where(
                Condition.said_at.is_not(None),
                or_(Condition.said_at >= since, Condition.cleared_at >= since),
            )
            .order_by(Condition.since, Condition.subject, Condition.kind)
            .execution_options(populate_existing=True)
        )
    )


# Asked for with every reading: put together once.
_RAISED = (
    select(Condition)
    .where(Condition.state == "raised")
    .order_by(Condition.since, Condition.subject, Condition.kind)
    .execution_options(populate_existing=True)
)
