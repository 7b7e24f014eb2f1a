"""Plans of the day as they were made, and what was said of them: wishes, and a yes."""

from typing import Any

from sqlalchemy import bindparam, delete, func, select
from sqlalchemy.orm import Session

from watcher.store.session import farm_of
from watcher.store.tables import DayPlanKept, IssuedForecast, PlanSaid
from watcher.store.upsert import insert_into

_KEPT_S = 14 * 86_400


def put(session: Session, made_at: int, content: dict[str, Any]) -> int:
    """Keep a plan; returns its number. Old ones that nobody said anything of go."""
    row = DayPlanKept(made_at=made_at, content=content)
    session.add(row)
    spoken_of = select(PlanSaid.plan).where(PlanSaid.plan.is_not(None))
    session.execute(
        delete(DayPlanKept).where(
            DayPlanKept.made_at < made_at - _KEPT_S, DayPlanKept.id.not_in(spoken_of)
        )
    )
    session.flush()
    return row.id


def newest(session: Session, until: int) -> DayPlanKept | None:
    """Return the plan made last, at or before a moment."""
    return session.scalars(_NEWEST, {"until": until}).one_or_none()


def of_number(session: Session, number: int) -> DayPlanKept | None:
    """Return a plan by its number."""
    return session.get(DayPlanKept, (farm_of(session), number))


def say(
    session: Session,
    what: str,
    *,
    by: str,
    key: str,
    at: int,
    content: dict[str, Any],
    plan: int | None = None,
) -> bool:
    """Keep what somebody said of the plan; returns whether it is new: a key counts once."""
    values = {"what": what, "by": by, "key": key, "at": at, "content": content, "plan": plan}
    said = insert_into(session, PlanSaid).values(values).on_conflict_do_nothing()
    return session.scalars(said.returning(PlanSaid.id)).one_or_none() is not None


def of_key(session: Session, by: str, key: str) -> PlanSaid | None:
    """Return what somebody said under a key."""
    return session.scalars(
        select(PlanSaid).where(PlanSaid.by == by, PlanSaid.key == key)
    ).one_or_none()


def last_said(session: Session, what: str, until: int) -> PlanSaid | None:
    """Return what was said last of one kind, at or before a moment."""
    return session.scalars(
        select(PlanSaid)
        .where(PlanSaid.what == what, PlanSaid.at <= until)
        .order_by(PlanSaid.id.desc())
        .limit(1)
    ).one_or_none()


def said_after(session: Session, what: str, at: int) -> list[PlanSaid]:
    """Return what was said of one kind after a moment, in the order it came."""
    after = select(PlanSaid).where(PlanSaid.what == what, PlanSaid.at > at)
    return list(session.scalars(after.order_by(PlanSaid.id)))


def issues(session: Session, until: int) -> dict[str, int]:
    """Return the number of each feed's newest forecast that was there at a moment."""
    came = func.coalesce(IssuedForecast.first_fetched_at, IssuedForecast.fetched_at)
    found = session.execute(
        select(IssuedForecast.source, func.max(IssuedForecast.id).label("newest"))
        .where(came <= until)
        .group_by(IssuedForecast.source)
        .order_by(IssuedForecast.source)
    )
    return {row.source: int(row.newest) for row in found}


# Asked for with every reading: put together once.
_NEWEST = (
    select(DayPlanKept)
    .where(DayPlanKept.made_at <= bindparam("until"))
    .order_by(DayPlanKept.made_at.desc(), DayPlanKept.id.desc())
    .limit(1)
)
