"""Posts in the stations' names that were refused in the last day: how many, when, from where.

A row an hour, a station and a reason, however many posts there are, and none older than a day:
whoever keeps posting rubbish fills nothing. Names that no station has are counted as one, "".
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import bindparam, delete, select
from sqlalchemy.orm import Session

from watcher.store.session import farm_of
from watcher.store.tables import RefusedFor, RefusedPost
from watcher.weather.bins import HOUR_S

DAY_S = 24 * HOUR_S
MOST_ADDRESSES = 3
"""Addresses that are remembered of each."""
NO_STATION = ""


@dataclass(frozen=True)
class Refused:
    """Posts that were refused for one reason. ``last_at`` is epoch seconds."""

    source: str
    what: RefusedFor
    count: int
    last_at: int
    why: str
    """Why the last one was."""
    addresses: tuple[str, ...]
    """The last few they came from, the very last one last."""

    def and_then(self, later: "Refused") -> "Refused":
        """Return these and later ones of the same kind as one."""
        addresses = dict.fromkeys(reversed((*self.addresses, *later.addresses)))
        return Refused(
            self.source,
            self.what,
            self.count + later.count,
            max(self.last_at, later.last_at),
            later.why,
            tuple(reversed(list(addresses)[:MOST_ADDRESSES])),
        )


def add(session: Session, refused: Iterable[Refused], now: int) -> None:
    """Count refused posts in, and forget those of more than a day ago."""
    session.execute(delete(RefusedPost).where(RefusedPost.hour <= now - DAY_S - HOUR_S))
    for new in refused:
        key = (new.source, new.what, new.last_at // HOUR_S * HOUR_S)
        row = session.get(RefusedPost, (farm_of(session), *key), with_for_update=True)
        if row is None:
            row = RefusedPost(source=key[0], what=key[1], hour=key[2])
            session.add(row)
            whole = new
        else:
            whole = _of(row).and_then(new)
        row.count, row.last_at, row.why = whole.count, whole.last_at, whole.why
        row.addresses = list(whole.addresses)
    session.flush()


def of_last_day(session: Session, now: int) -> dict[str, dict[RefusedFor, Refused]]:
    """Return what was refused in the day before ``now``, to the hour, by station and reason."""
    asked = {"hour": now - DAY_S - HOUR_S, "last": now - DAY_S}
    rows = session.scalars(_OF_LAST_DAY, asked)
    found: defaultdict[str, dict[RefusedFor, Refused]] = defaultdict(dict)
    for row in rows:
        before = found[row.source].get(row.what)
        found[row.source][row.what] = before.and_then(_of(row)) if before else _of(row)
    return dict(found)


def _of(row: RefusedPost) -> Refused:
    return Refused(row.source, row.what, row.count, row.last_at, row.why, tuple(row.addresses))


# Asked for with every reading: put together once.
_OF_LAST_DAY = (
    select(RefusedPost)
    .where(RefusedPost.hour > bindparam("hour"), RefusedPost.last_at > bindparam("last"))
    .order_by(RefusedPost.hour)
)
