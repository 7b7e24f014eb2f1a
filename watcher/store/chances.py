"""What forecasts were wrong by, and what was said of jobs with what came. Kept for good.

The hours of a forecast and of what was measured are kept as half-precision floats, [quantity ×
hour]: a thousandth of the value is far within any sensor's error, and a year takes half the room.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from watcher.store.rows import site_of, site_row
from watcher.store.tables import ChanceOutcome, ChanceSaid, ForecastError, own_columns
from watcher.store.upsert import insert_into
from watcher.weather.series import Floats, Site

KEPT = (
    "wind_m_s",
    "gust_m_s",
    "wind_from_deg",
    "temp_c",
    "dew_point_c",
    "rain_mm_h",
    "rain_chance_pct",
)
"""Quantities of which the errors are kept; new ones may only be added at the end."""
_FLOAT = np.dtype("<f2")

Hours = Mapping[str, Floats]
"""Arrays of hours by quantity."""


@dataclass(frozen=True)
class Pair:
    """What was foretold from a moment on, and what was measured; None until it is over."""

    at: int
    site: Site
    foretold: Hours
    measured: Hours | None
    model: str | None = None
    """The model behind the forecast; None where the feed does not say it."""


def put_foretold(
    session: Session,
    feed: str,
    station: str,
    site: Site,
    *,
    at: int,
    foretold: Hours,
    model: str | None = None,
) -> None:
    """Keep what a feed foretold at a moment for a station's place; one kept already stands."""
    session.execute(
        insert_into(session, ForecastError)
        .values(
            feed=feed,
            station=station,
            at=at,
            foretold=_packed(foretold),
            model=model,
            **site_row(site),
        )
        .on_conflict_do_nothing()
    )


def put_measured(session: Session, feed: str, station: str, at: int, measured: Hours) -> None:
    """Keep what was measured in the hours of a forecast."""
    session.execute(
        update(ForecastError)
        .where(ForecastError.feed == feed, ForecastError.station == station, ForecastError.at == at)
        .values(measured=_packed(measured))
    )


def newest_moment(session: Session, feed: str, station: str) -> int | None:
    """Return the newest moment of which a pair is kept, None without one."""
    of = (ForecastError.feed == feed, ForecastError.station == station)
    newest: int | None = session.scalars(select(func.max(ForecastError.at)).where(*of)).one()
    return newest


def moments(session: Session, feed: str, station: str) -> frozenset[int]:
    """Return the moments of which a pair is kept."""
    of = (ForecastError.feed == feed, ForecastError.station == station)
    return frozenset(session.scalars(select(ForecastError.at).where(*of)))


def pairs(session: Session, feed: str, station: str, since: int) -> list[Pair]:
    """Return what was foretold and measured from a moment on, oldest first."""
    rows = session.scalars(
        select(ForecastError)
        .where(
            ForecastError.feed == feed,
            ForecastError.station == station,
            ForecastError.at >= since,
        )
        .order_by(ForecastError.at)
    )
    return [
        Pair(
            row.at,
            site_of(row),
            _unpacked(row.foretold),
            None if row.measured is None else _unpacked(row.measured),
            row.model,
        )
        for row in rows
    ]


def put_said(session: Session, said: Sequence[ChanceSaid]) -> None:
    """Keep the chances that were said; one kept already stands."""
    for one in said:
        values = {name: getattr(one, name) for name in own_columns(ChanceSaid)}
        session.execute(insert_into(session, ChanceSaid).values(values).on_conflict_do_nothing())


def open_said(session: Session, ended_before: int, most: int) -> list[ChanceSaid]:
    """Return chances of jobs that are over and of which nobody has looked what came of them."""
    return list(
        session.scalars(
            select(ChanceSaid)
            .where(ChanceSaid.outcome.is_(None), ChanceSaid.ends_at < ended_before)
            .order_by(ChanceSaid.ends_at)
            .limit(most)
        )
    )


def close_said(
    session: Session, outcomes: Iterable[tuple[ChanceSaid, ChanceOutcome, str | None]]
) -> None:
    """Keep what came of jobs that a chance was said of, and the limit that ended each."""
    for said, outcome, ended_by in outcomes:
        session.execute(
            update(ChanceSaid)
            .where(
                ChanceSaid.field == said.field,
                ChanceSaid.setup == said.setup,
                ChanceSaid.said_at == said.said_at,
                ChanceSaid.starts_at == said.starts_at,
            )
            .values(outcome=outcome, ended_by=ended_by)
        )


def known_said(session: Session, since: int) -> list[ChanceSaid]:
    """Return chances said from a time on of which it is known whether they held, oldest first."""
    return list(
        session.scalars(
            select(ChanceSaid)
            .where(ChanceSaid.said_at >= since, ChanceSaid.outcome.in_(("held", "broken")))
            .order_by(ChanceSaid.said_at, ChanceSaid.field, ChanceSaid.starts_at)
        )
    )


def _packed(hours: Hours) -> bytes:
    return np.stack([hours[name] for name in KEPT]).astype(_FLOAT).tobytes()


def _unpacked(packed: bytes) -> dict[str, Floats]:
    found = np.frombuffer(packed, dtype=_FLOAT).reshape(len(KEPT), -1).astype(np.float64)
    return dict(zip(KEPT, found, strict=True))
