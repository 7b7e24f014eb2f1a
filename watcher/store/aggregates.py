"""The log for years: ten-minute and hourly weather made of readings, and readings let go in time.

Bins are made in the background, hour by hour, a little at each call; whatever is not made yet a
query makes of the readings as it goes, so that nobody ever waits for the background.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from watcher.sources.base import Flag, Observations
from watcher.store import bin_rows, issues, stale, weather
from watcher.store.tables import IssuedForecast, Observation, StationSite, WeatherBin
from watcher.weather.bins import HOUR_S, TEN_MINUTES_S, Bins, joined, over_bins
from watcher.weather.series import WeatherSeries

WIDTHS_S = (TEN_MINUTES_S, HOUR_S)
DAY_S = 24 * HOUR_S
BLOCK_S = 28 * DAY_S
_SETTLED_S = 600
"""An hour's bins are made so long after its end: most late readings are in by then."""
_FORECASTS_AT_ONCE = 24
_PAGES_AT_ONCE = 500
_SPARE_SHARE = 20  # a twentieth of the file stays free for the next readings


@dataclass(frozen=True)
class Tended:
    """What one call did. ``more`` says that there is more to do of the same at once."""

    hours_made: int
    readings_removed: int
    forecasts_removed: int
    more: bool


def tend(session: Session, now: int, *, keep_raw_s: float, hours_at_once: int = 120) -> Tended:
    """Make bins of new readings, let old readings and forecasts go, give their room back.

    A bounded amount of each at a call, in the caller's write transaction. Readings go when they
    are older than ``keep_raw_s`` and their bins are made; bins stay.
    """
    made = _make_some(session, now - _SETTLED_S, hours_at_once)
    before = int(max(now - keep_raw_s, 0.0)) // HOUR_S * HOUR_S
    sources = session.scalars(select(StationSite.source)).all()
    readings = sum(_let_readings_go(session, source, before) for source in sources)
    forecasts = _let_forecasts_go(session, before)
    _give_room_back(session)
    more = made >= hours_at_once or readings > 0 or forecasts >= _FORECASTS_AT_ONCE
    return Tended(made, readings, forecasts, more)


def bins(
    session: Session,
    source: str,
    width_s: int,
    start: int,
    end: int,
    *,
    readings: Callable[[int, int], Observations] | None = None,
) -> Bins:
    """Return a source's weather over the bins of ``width_s`` with ``start <= time < end``.

    ``width_s`` is one of ``WIDTHS_S``. A bin whose readings have changed is made anew of them;
    ``readings`` returns those from one time to another where they are read already.
    """
    readings = partial(weather.observations, session, source) if readings is None else readings
    site = weather.site(session, source) or weather.NOWHERE
    parts = [bin_rows.get(session, source, width_s, start, end, site=site)]
    for hours in stale.within(session, source, start, end):
        fresh = _over(readings(*hours), width_s)
        parts.append(fresh.at((fresh.series.times >= start) & (fresh.series.times < end)))
    return joined(parts, width_s=width_s, site=site, source=source)


def blocks(
    session: Session, source: str, width_s: int, start: int, end: int, *, block_s: int = BLOCK_S
) -> Iterator[Bins]:
    """Yield the same as ``bins`` in blocks of ``block_s``, one in memory at a time."""
    for first in range(start, end, block_s):
        yield bins(session, source, width_s, first, min(first + block_s, end))


def finest(
    session: Session, source: str, start: int, end: int, *, most: int = 5000
) -> WeatherSeries:
    """Return a source's usable weather with ``start <= time < end`` in at most ``most`` times.

    Readings where the log still has them all; else ten minutes; else hours, however many.
    """
    if has_readings(session, source, start, end) and _few(session, source, start, end, most):
        return weather.observations(session, source, start, end).usable()
    width_s = TEN_MINUTES_S if (end - start) / TEN_MINUTES_S <= most else HOUR_S
    return bins(session, source, width_s, start, end).series


def has_readings(session: Session, source: str, start: int, end: int) -> bool:
    """Return whether no bin of the time is of readings that are gone."""
    first = _first_reading(session, source)
    gone_before = end if first is None else min(end, first // HOUR_S * HOUR_S)
    return not _has_bins(session, source, HOUR_S, start, gone_before)


def beginning(session: Session) -> int | None:
    """Return the time of the first weather the log knows of, None for an empty log."""
    firsts: list[int | None] = [session.scalars(select(func.min(IssuedForecast.issued_at))).one()]
    for source in session.scalars(select(StationSite.source)):
        firsts += [_first_reading(session, source), _first_bin(session, source)]
    return min((first for first in firsts if first is not None), default=None)


def has_any(session: Session, source: str, start: int, end: int) -> bool:
    """Return whether the log has readings of the time, or what was made of them."""
    reading = select(Observation.time).where(
        Observation.source == source, Observation.time >= start, Observation.time < end
    )
    if session.scalars(reading.limit(1)).first() is not None:
        return True
    return _has_bins(session, source, TEN_MINUTES_S, start, end)


def _has_bins(session: Session, source: str, width_s: int, start: int, end: int) -> bool:
    made = select(WeatherBin.time).where(
        WeatherBin.source == source,
        WeatherBin.width_s == width_s,
        WeatherBin.time >= start,
        WeatherBin.time < end,
    )
    return session.scalars(made.limit(1)).first() is not None


def _make_some(session: Session, before: int, most: int) -> int:
    made = 0
    for source, hours in stale.oldest(session, before, most):
        readings = weather.observations(session, source, *hours)
        for width_s in WIDTHS_S:
            bin_rows.put(session, _over(readings, width_s))
        stale.clear(session, source, hours)
        made += (hours[1] - hours[0]) // HOUR_S
    return made


def _over(observations: Observations, width_s: int) -> Bins:
    """Return bins of usable values. A wrong time tells nothing of how good a value is.

    Such a value is in no bin, and not among the doubted ones by which its source is trusted.
    """
    doubted, usable = {}, {}
    for name, flags in observations.flags.items():
        doubted[name] = flags & ~np.uint16(Flag.FUTURE) != 0
        only_ahead = (flags == Flag.FUTURE) & ~doubted[name]
        usable[name] = np.where(only_ahead, np.nan, getattr(observations.series, name))
    return over_bins(observations.series.having(**usable), width_s=width_s, doubted=doubted)


def _let_readings_go(session: Session, source: str, before: int) -> int:
    """Delete a day of the oldest readings, whole hours only, none whose bins are not made."""
    first = _first_reading(session, source)
    if first is None or first >= before:
        return 0
    end = min(before, first // HOUR_S * HOUR_S + DAY_S)
    unmade = stale.within(session, source, first, end)
    gone = session.execute(
        delete(Observation).where(
            Observation.source == source, Observation.time < (unmade[0][0] if unmade else end)
        )
    )
    return int(gone.rowcount)  # type: ignore[attr-defined]


def _let_forecasts_go(session: Session, before: int) -> int:
    old = session.scalars(
        select(IssuedForecast.id)
        .where(IssuedForecast.issued_at < before)
        .order_by(IssuedForecast.id)
        .limit(_FORECASTS_AT_ONCE)
    ).all()
    if old:
        issues.let_go(session, old)
    return len(old)


def _give_room_back(session: Session) -> None:
    """Shrink a SQLite file a little, where more of it is free than will be used soon.

    PostgreSQL's own autovacuum does this by itself.
    """
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return
    free, pages = (
        int(connection.exec_driver_sql(f"PRAGMA {what}").scalar_one())
        for what in ("freelist_count", "page_count")
    )
    # One by one: the driver takes a single step of a statement without columns, so one page.
    for _ in range(min(free - pages // _SPARE_SHARE, _PAGES_AT_ONCE)):
        connection.exec_driver_sql("PRAGMA incremental_vacuum(1)")


def _first_reading(session: Session, source: str) -> int | None:
    of_source = Observation.source == source
    first: int | None = session.scalars(select(func.min(Observation.time)).where(of_source)).one()
    return first


def _first_bin(session: Session, source: str) -> int | None:
    of_source = (WeatherBin.source == source) & (WeatherBin.width_s == HOUR_S)
    first: int | None = session.scalars(select(func.min(WeatherBin.time)).where(of_source)).one()
    return first


def _few(session: Session, source: str, start: int, end: int, most: int) -> bool:
    some = (
        select(Observation.time)
        .where(Observation.source == source, Observation.time >= start, Observation.time < end)
        .limit(most + 1)
        .subquery()
    )
    return session.scalars(select(func.count()).select_from(some)).one() <= most
