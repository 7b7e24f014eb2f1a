"""Readings and forecasts, in and out of the log."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, Row, and_, bindparam, exists, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from watcher.sources.base import Forecast, Observations
from watcher.store import issue_hours, issues, stale
from watcher.store.merging import by_quantity
from watcher.store.rows import (
    SITE_COLUMNS,
    bound_arrays,
    bounds_column,
    flag_arrays,
    flag_column,
    site_of,
    site_row,
    weather_columns,
    weather_series,
)
from watcher.store.session import farm_of
from watcher.store.tables import ForecastHour, IssuedForecast, Observation, StationSite
from watcher.store.upsert import Insert, insert_into, put_rows
from watcher.weather.series import QUANTITIES, Seconds, Site, WeatherSeries

NOWHERE = Site(latitude=np.nan, longitude=np.nan, elevation_m=np.nan)
"""The site of a source that never reported."""
_TIMES_AT_ONCE = 500


def add_observations(session: Session, observations: Observations, received_at: int | None) -> int:
    """Keep readings; return how many rows of the log are new, or other than they were.

    Put together by quantity with what the log has of the same seconds (``store.merging``): what it
    has already changes nothing. ``received_at`` is when they came in; None where that is not known,
    as of a table: each then counts as come in when it was measured.
    """
    series = observations.series
    if not len(series):
        return 0
    _keep_site(session, series.source, series.site)
    columns = weather_columns(series, source=series.source, received_at=received_at)
    if received_at is None:
        columns["received_at"] = columns["time"]
    columns["flags"] = [finding and _compact(finding) for finding in flag_column(observations)]
    columns["bounds"] = _bounds(series)
    changed = put_rows(session, Observation, columns, by_quantity)
    if changed:
        stale.mark(session, series.source, series.times)
    return changed


def at_times(session: Session, source: str, times: Seconds) -> Observations:
    """Return what the log has of a source at these times, which are sorted, and of no others."""
    newest = newest_time(session, source)
    if newest is None or newest < times[0]:  # as nearly all that comes in
        return Observations(WeatherSeries(times[:0], NOWHERE, source))
    known = times[times <= newest]
    parts = np.split(known, range(_TIMES_AT_ONCE, known.size, _TIMES_AT_ONCE))
    found = [
        row
        for part in parts
        if part.size
        for row in session.execute(
            select(
                Observation.bounds, Observation.flags, Observation.time, *_quantities(Observation)
            )
            .where(Observation.source == source, Observation.time.in_(part.tolist()))
            .order_by(Observation.time)
        )
    ]
    return _observations(session, source, found)


def observations(session: Session, source: str, start: int, end: int) -> Observations:
    """Return a source's readings with ``start <= time < end``, and their flags.

    Empty, and at no place at all, for a source that never reported.
    """
    found = session.execute(_READINGS, {"source": source, "start": start, "end": end}).all()
    return _observations(session, source, found)


def newest_findings(
    session: Session, source: str, start: int, end: int, most: int
) -> list[dict[str, int]]:
    """Return what was found in the newest readings of ``start <= time < end`` with any finding."""
    return list(
        session.scalars(
            select(Observation.flags)
            .where(_within(source, start, end), Observation.flags.is_not(None))
            .order_by(Observation.time.desc())
            .limit(most)
        )
    )


def site(session: Session, source: str) -> Site | None:
    """Return where a source measures, as it last said, None if it never reported."""
    place = session.get(StationSite, (farm_of(session), source))
    return None if place is None else site_of(place)


def newest_time(session: Session, source: str, *, until: int | None = None) -> int | None:
    """Return the time of a source's newest reading, None when it never reported.

    ``until``: later ones, from the future, are left aside.
    """
    if until is None:
        found = session.scalars(_NEWEST_TIME, {"source": source})
    else:
        found = session.scalars(_NEWEST_TIME_UNTIL, {"source": source, "until": until})
    newest: int | None = found.one()
    return newest


def add_forecast(session: Session, forecast: Forecast) -> bool:
    """Keep a forecast as it was issued; return False when the log has that issue already.

    Of an issue it has, the log notes that the feed stood by it again (``fetched_at``), and keeps
    the hours that came in at its end. An issue that a feed changed under the same time of issue
    counts as issued when it was fetched.
    """
    for known in _like(session, forecast):
        kept = _forecast(session, known)
        if issues.is_same_issue(kept, forecast):
            issues.stand_by_again(session, known.id, forecast.fetched_at)
            later = issues.new_hours(kept.series, forecast.series)
            if len(later):
                _put_hours(session, known.id, later)
                issues.keep_given(session, known.id, forecast.given)
            return len(later) > 0
    number = _put_issue(session, forecast)
    if number is None and forecast.fetched_at > forecast.issued_at:
        number = _put_issue(session, replace(forecast, issued_at=forecast.fetched_at))
    if number is None:
        return False
    if len(forecast.series):
        _put_hours(session, number, forecast.series)
    issues.keep_given(session, number, forecast.given)
    return True


def _like(session: Session, forecast: Forecast) -> Sequence[IssuedForecast]:
    """Return the issues that a forecast may be again: the newest one before, and its own time's."""
    of_source = IssuedForecast.source == forecast.series.source
    newest = (
        select(func.max(IssuedForecast.issued_at))
        .where(of_source, IssuedForecast.issued_at <= forecast.fetched_at)
        .scalar_subquery()
    )
    times = (forecast.issued_at, forecast.fetched_at)
    return session.scalars(
        select(IssuedForecast)
        .where(
            of_source,
            or_(IssuedForecast.issued_at == newest, IssuedForecast.issued_at.in_(times)),
        )
        .order_by(IssuedForecast.issued_at.desc())
    ).all()


def _put_issue(session: Session, forecast: Forecast) -> int | None:
    """Keep an issue without its hours; return its number, None where its time has one already."""
    return session.scalars(
        insert_into(session, IssuedForecast)
        .values(
            source=forecast.series.source,
            issued_at=forecast.issued_at,
            fetched_at=forecast.fetched_at,
            first_fetched_at=forecast.begins_at,
            attribution=forecast.attribution,
            run_at=forecast.run_at,
            model=forecast.model,
            **site_row(forecast.series.site),
        )
        .on_conflict_do_nothing(index_elements=["farm", "source", "issued_at"])
        .returning(IssuedForecast.id)
    ).one_or_none()


def _put_hours(session: Session, number: int, series: WeatherSeries) -> None:
    columns = weather_columns(series, forecast_id=number) | {"bounds": _bounds(series)}
    put_rows(session, ForecastHour, columns)


def latest_forecast(session: Session, source: str, issued_before: int) -> Forecast | None:
    """Return a source's newest forecast issued at or before a time, None without one."""
    asked = {"source": source, "issued_before": issued_before}
    issue = session.scalars(_NEWEST_ISSUE, asked).one_or_none()
    if issue is None:
        return None
    return _of_issue(issue, issue_hours.held(session, issue, lambda: _hours(session, issue)))


def forecasts_for(session: Session, source: str, start: int, end: int) -> Iterator[Forecast]:
    """Yield every forecast for ``start <= time < end``, cut to these times, oldest issue first.

    For comparing what was forecast with what came. Read from the log one by one.
    """
    wanted = and_(ForecastHour.time >= start, ForecastHour.time < end)
    found = session.scalars(
        select(IssuedForecast)
        .where(
            IssuedForecast.source == source,
            exists().where(ForecastHour.forecast_id == IssuedForecast.id, wanted),
        )
        .order_by(IssuedForecast.issued_at)
    ).all()
    for issue in found:
        yield _forecast(session, issue, wanted)


def foretold(
    session: Session, source: str, start: int, end: int, *, within_s: int
) -> WeatherSeries:
    """Return what a source forecast last for each time in ``start <= time < end`` before it came.

    Only issues of the ``within_s`` before the time count. Empty, at no place, where there is none.
    """
    wanted = (
        select(ForecastHour.time, func.max(IssuedForecast.issued_at).label("issued_at"))
        .join(IssuedForecast, ForecastHour.forecast_id == IssuedForecast.id)
        .where(
            IssuedForecast.source == source,
            IssuedForecast.issued_at > start - within_s,
            IssuedForecast.issued_at < end,
            ForecastHour.time >= start,
            ForecastHour.time < end,
            ForecastHour.time >= IssuedForecast.issued_at,
            ForecastHour.time < IssuedForecast.issued_at + within_s,
        )
        .group_by(ForecastHour.time)
        .subquery()
    )
    rows = session.execute(
        select(ForecastHour.bounds, ForecastHour.time, *_quantities(ForecastHour))
        .join(IssuedForecast, ForecastHour.forecast_id == IssuedForecast.id)
        .join(
            wanted,
            and_(
                wanted.c.time == ForecastHour.time,
                wanted.c.issued_at == IssuedForecast.issued_at,
            ),
        )
        .where(IssuedForecast.source == source)
        .order_by(ForecastHour.time)
    ).all()
    newest = session.scalars(
        select(IssuedForecast)
        .where(IssuedForecast.source == source, IssuedForecast.issued_at < end)
        .order_by(IssuedForecast.issued_at.desc())
        .limit(1)
    ).one_or_none()
    site = NOWHERE if newest is None else site_of(newest)
    series = weather_series([row[1:] for row in rows], site, source)
    return series.bounded(bound_arrays([row[0] for row in rows]))


def _forecast(session: Session, issue: IssuedForecast, *only: ColumnElement[bool]) -> Forecast:
    return _of_issue(issue, _hours(session, issue, *only))


def _hours(session: Session, issue: IssuedForecast, *only: ColumnElement[bool]) -> WeatherSeries:
    hours = session.execute(
        select(ForecastHour.bounds, ForecastHour.time, *_quantities(ForecastHour))
        .where(ForecastHour.forecast_id == issue.id, *only)
        .order_by(ForecastHour.time)
    ).all()
    series = weather_series([row[1:] for row in hours], site_of(issue), issue.source)
    return series.bounded(bound_arrays([row[0] for row in hours]))


def _of_issue(issue: IssuedForecast, series: WeatherSeries) -> Forecast:
    return Forecast(
        series,
        issue.issued_at,
        issue.fetched_at,
        issue.attribution,
        run_at=issue.run_at,
        model=issue.model,
        first_fetched_at=issue.first_fetched_at,
    )


def _keep_site(session: Session, source: str, site: Site) -> None:
    columns = {"source": [source]} | {name: [value] for name, value in site_row(site).items()}
    put_rows(session, StationSite, columns, _in_its_place)


def _in_its_place(insert: Insert) -> Insert:
    return insert.on_conflict_do_update(
        index_elements=["farm", "source"],
        set_={name: insert.excluded[name] for name in SITE_COLUMNS},
    )


def _observations(session: Session, source: str, rows: Sequence[Row[Any]]) -> Observations:
    """Return rows of bounds, flags, time and every quantity as observations."""
    series = weather_series(
        [tuple(row)[2:] for row in rows], site(session, source) or NOWHERE, source
    )
    return Observations(
        series.bounded(bound_arrays([row.bounds for row in rows])),
        flag_arrays((row.flags for row in rows), len(rows)),
    )


def _bounds(series: WeatherSeries) -> list[str | None]:
    return [_compact(bounded) if bounded else None for bounded in bounds_column(series)]


def _compact(finding: Mapping[str, Any]) -> str:
    """Return findings as SQLite itself writes JSON, so that equal ones are equal texts."""
    return json.dumps(finding, separators=(",", ":"))


def _within(source: str, start: int, end: int) -> ColumnElement[bool]:
    return and_(Observation.source == source, Observation.time >= start, Observation.time < end)


def _quantities(
    table: type[Observation] | type[ForecastHour],
) -> list[InstrumentedAttribute[float | None]]:
    return [getattr(table, name) for name in QUANTITIES]


# Asked for with every reading: put together once, which takes as long as a small answer.
_READINGS = (
    select(Observation.bounds, Observation.flags, Observation.time, *_quantities(Observation))
    .where(
        Observation.source == bindparam("source"),
        Observation.time >= bindparam("start"),
        Observation.time < bindparam("end"),
    )
    .order_by(Observation.time)
)
_NEWEST_TIME = select(func.max(Observation.time)).where(Observation.source == bindparam("source"))
_NEWEST_TIME_UNTIL = _NEWEST_TIME.where(Observation.time <= bindparam("until"))
_NEWEST_ISSUE = (
    select(IssuedForecast)
    .where(
        IssuedForecast.source == bindparam("source"),
        IssuedForecast.issued_at <= bindparam("issued_before"),
    )
    .order_by(IssuedForecast.issued_at.desc())
    .limit(1)
)
