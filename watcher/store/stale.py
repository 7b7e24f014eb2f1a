"""Which hours of readings have changed since their bins were made."""

from collections.abc import Iterator, Sequence

import numpy as np
from sqlalchemy import bindparam, delete, select
from sqlalchemy.orm import Session

from watcher.store.tables import StaleHour
from watcher.store.upsert import Insert, put_rows
from watcher.weather.bins import HOUR_S
from watcher.weather.series import Seconds

_MOST_HOURS = 24

Hours = tuple[int, int]
"""From the beginning of one hour to that of another. [epoch s]"""


def mark(session: Session, source: str, times: Seconds) -> None:
    """Note that a source has readings of these times that its bins don't know of."""
    hours = (np.unique(times // HOUR_S) * HOUR_S).tolist()
    columns = {"source": [source] * len(hours), "time": hours}
    put_rows(session, StaleHour, columns, Insert.on_conflict_do_nothing)


def within(session: Session, source: str, start: int, end: int) -> list[Hours]:
    """Return the stale hours of a source that lie in ``start <= time < end`` or reach into it."""
    first = start // HOUR_S * HOUR_S
    found = session.scalars(_WITHIN, {"source": source, "first": first, "end": end})
    return list(_runs(found.all()))


def oldest(session: Session, before: int, most: int) -> list[tuple[str, Hours]]:
    """Return stale hours that are over before a time, at most so many, source by source."""
    found = session.execute(
        select(StaleHour.source, StaleHour.time)
        .where(StaleHour.time <= before - HOUR_S)
        .order_by(StaleHour.source, StaleHour.time)
        .limit(most)
    ).all()
    sources = dict.fromkeys(source for source, _ in found)
    return [
        (source, hours)
        for source in sources
        for hours in _runs([time for of, time in found if of == source])
    ]


def clear(session: Session, source: str, hours: Hours) -> None:
    """Note that the bins of these hours are right now."""
    session.execute(
        delete(StaleHour).where(
            StaleHour.source == source, StaleHour.time >= hours[0], StaleHour.time < hours[1]
        )
    )


def _runs(hours: Sequence[int]) -> Iterator[Hours]:
    """Yield hours that follow each other as one stretch, of a day at most."""
    run: list[int] = []
    for hour in hours:
        if run and (hour != run[-1] + HOUR_S or len(run) == _MOST_HOURS):
            yield run[0], run[-1] + HOUR_S
            run = []
        run.append(hour)
    if run:
        yield run[0], run[-1] + HOUR_S


# Asked for with every reading: put together once.
_WITHIN = (
    select(StaleHour.time)
    .where(
        StaleHour.source == bindparam("source"),
        StaleHour.time >= bindparam("first"),
        StaleHour.time < bindparam("end"),
    )
    .order_by(StaleHour.time)
)
