"""How each source is doing: when it was asked, when it answered, how new its weather is."""

from collections.abc import Collection

from sqlalchemy import select
from sqlalchemy.orm import Session

from watcher.sources.quality.check import AHEAD_S
from watcher.store.session import farm_of
from watcher.store.tables import SourceHealth
from watcher.store.upsert import insert_into

DAY_S = 24 * 3600
MOST_IGNORED = 40
"""Names that a source sends and nobody reads are remembered so many and so long."""


def answered(
    session: Session,
    source: str,
    at: int,
    newest_reading_at: int | None,
    *,
    but: str = "",
    ignored: Collection[str] = (),
) -> None:
    """Record that a source answered, with the time of the newest reading in its answer.

    None when the answer held no reading. An answer older than an earlier one does not make the
    source look older, unless that one was from the future. ``but`` says what of the answer is not
    believed, ``ignored`` names what of it is not read.
    """
    health = _held(session, source)
    health.state = "answering"
    health.asked_at = health.answered_at = at
    health.failures_in_a_row = 0
    health.why = but or None
    health.ignored = _ignored(health.ignored or {}, ignored, at)
    known = health.newest_reading_at
    if known is not None and known > at + AHEAD_S and newest_reading_at is not None:
        known = None
    times = (known, newest_reading_at)
    health.newest_reading_at = max((time for time in times if time is not None), default=None)


def _ignored(known: dict[str, int], new: Collection[str], at: int) -> dict[str, int] | None:
    """Return the names of the last day with when each last came; the newest of them."""
    merged = {name: time for name, time in known.items() if at - DAY_S < time <= at}
    merged |= dict.fromkeys(new, at)
    newest = sorted(merged.items(), key=lambda item: -item[1])[:MOST_IGNORED]
    return dict(sorted(newest)) or None


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
    return list(session.scalars(_ALL))


def _held(session: Session, source: str) -> SourceHealth:
    """Return a source's row, made if it is new, held until the transaction ends."""
    key = (farm_of(session), source)
    held = session.get(SourceHealth, key, with_for_update=True)
    if held is not None:
        return held
    session.execute(
        insert_into(session, SourceHealth)
        .values(source=source, state="unknown", failures_in_a_row=0)
        .on_conflict_do_nothing()
    )
    return session.get_one(SourceHealth, key, with_for_update=True)


# Asked for with every reading: put together once.
_ALL = select(SourceHealth).order_by(SourceHealth.source)
