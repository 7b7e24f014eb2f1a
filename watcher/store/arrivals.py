"""Weather in the order in which it came in, for going through past days again."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from watcher.sources.base import Forecast, Observations
from watcher.store import weather
from watcher.store.tables import IssuedForecast, Observation
from watcher.weather.series import Seconds

_LATE_AT_MOST_S = 24 * 3600
"""What came in later than this was imported, and not late: earlier versions of this program noted
for a table when it was imported. Now each of its readings is noted as come in when measured."""


@dataclass(frozen=True)
class Arrived:
    """What came in at a moment: readings of one source, or a forecast as it was known then."""

    at: int
    observations: Observations | None = None
    forecast: Forecast | None = None


def readings(session: Session, source: str, start: int, end: int) -> Iterator[Arrived]:
    """Yield a source's readings with ``start <= time < end`` as they came in, earliest first."""
    found = weather.observations(session, source, start, end)
    yield from in_order(found, _received(session, source, start, end))


def in_order(observations: Observations, received_at: Seconds) -> Iterator[Arrived]:
    """Yield readings as they came in [T]; what was received at once comes at once."""
    times = observations.series.times
    late = received_at - times
    at = np.where((late >= 0) & (late < _LATE_AT_MOST_S), received_at, times)
    order = np.argsort(at, kind="stable")
    cuts = np.flatnonzero(np.diff(at[order])) + 1
    for together in np.split(order, cuts) if times.size else []:
        rows = np.sort(together)
        flags = {name: bits[rows] for name, bits in observations.flags.items()}
        yield Arrived(int(at[rows[0]]), Observations(observations.series.at(rows), flags))


def newest(session: Session, source: str, until: int, most: int) -> tuple[Seconds, Seconds]:
    """Return times and arrivals of a source's newest readings: at most so many up to ``until``, and
    half as many dated later. Sorted by time; [R] each.
    """
    asked = {"source": source, "until": until}
    found = [
        *session.execute(_UNTIL, asked | {"most": most}),
        *session.execute(_LATER, asked | {"most": most // 2}),
    ]
    times, received = np.array(found, dtype=np.int64).reshape(-1, 2).T
    order = np.argsort(times)
    return times[order], received[order]


def forecasts(session: Session, source: str, start: int, end: int) -> Iterator[Arrived]:
    """Yield a source's forecasts issued in ``start <= time < end``, oldest first."""
    issued = session.scalars(
        select(IssuedForecast.issued_at)
        .where(
            IssuedForecast.source == source,
            IssuedForecast.issued_at >= start,
            IssuedForecast.issued_at < end,
        )
        .order_by(IssuedForecast.issued_at)
    ).all()
    for at in issued:
        forecast = weather.latest_forecast(session, source, at)
        if forecast is not None:
            yield Arrived(at, forecast=forecast)


def _received(session: Session, source: str, start: int, end: int) -> Seconds:
    of_time = select(Observation.received_at).where(
        Observation.source == source, Observation.time >= start, Observation.time < end
    )
    return np.array(session.scalars(of_time.order_by(Observation.time)).all(), dtype=np.int64)


# Asked for with every reading: put together once.
_NEWEST = (
    select(Observation.time, Observation.received_at)
    .where(Observation.source == bindparam("source"))
    .order_by(Observation.time.desc())
    .limit(bindparam("most"))
)
_UNTIL = _NEWEST.where(Observation.time <= bindparam("until"))
_LATER = _NEWEST.where(Observation.time > bindparam("until"))
