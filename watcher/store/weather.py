"""Readings and forecasts, in and out of the log."""

import json
from collections.abc import Iterator

import numpy as np
from sqlalchemy import ColumnElement, and_, exists, func, or_, select, update
from sqlalchemy.orm import InstrumentedAttribute, Session

from watcher.sources.base import Forecast, Observations
from watcher.store import stale
from watcher.store.rows import (
    SITE_COLUMNS,
    flag_arrays,
    flag_column,
    site_of,
    site_row,
    weather_columns,
    weather_series,
)
from watcher.store.tables import ForecastHour, IssuedForecast, Observation, StationSite
from watcher.store.upsert import Insert, insert_into, put_rows
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

NOWHERE = Site(latitude=np.nan, longitude=np.nan, elevation_m=np.nan)
"""The site of a source that never reported."""


def add_observations(session: Session, observations: Observations, received_at: int) -> int:
    """Keep readings; return how many are of times the log did not have.

    A reading the log has already changes nothing. One that differs takes its place whole: it is
    what the source now says of that time.
    """
    series = observations.series
    if not len(series):
        return 0
    _keep_site(session, series.source, series.site)
    span = _within(series.source, int(series.times[0]), int(series.times[-1]) + 1)
    count = select(func.count()).select_from(Observation).where(span)
    before = session.scalars(count).one()
    columns = weather_columns(series, source=series.source, received_at=received_at)
    columns["flags"] = [finding and json.dumps(finding) for finding in flag_column(observations)]
    put_rows(session, Observation, columns, _unless_same)
    stale.mark(session, series.source, series.times)
    return session.scalars(count).one() - before


def observations(session: Session, source: str, start: int, end: int) -> Observations:
    """Return a source's readings with ``start <= time < end``, and their flags.

    Empty, and at no place at all, for a source that never reported.
    """
    found = session.execute(
        select(Observation.flags, Observation.time, *_quantities(Observation))
        .where(_within(source, start, end))
        .order_by(Observation.time)
    ).all()
    return Observations(
        weather_series([row[1:] for row in found], site(session, source) or NOWHERE, source),
        flag_arrays((row[0] for row in found), len(found)),
    )


def site(session: Session, source: str) -> Site | None:
    """Return where a source measures, as it last said, None if it never reported."""
    place = session.get(StationSite, source)
    return None if place is None else site_of(place)


def newest_time(session: Session, source: str) -> int | None:
    """Return the time of a source's newest reading, None when it never reported."""
    of_source = Observation.source == source
    newest: int | None = session.scalars(select(func.max(Observation.time)).where(of_source)).one()
    return newest


def add_forecast(session: Session, forecast: Forecast) -> bool:
    """Keep a forecast as it was issued; return False when the log has that issue already.

    Of an issue it has, the log notes only that the feed stood by it again (``fetched_at``).
    """
    series = forecast.series
    number = session.scalars(
        insert_into(session, IssuedForecast)
        .values(
            source=series.source,
            issued_at=forecast.issued_at,
            fetched_at=forecast.fetched_at,
            attribution=forecast.attribution,
            **site_row(series.site),
        )
        .on_conflict_do_nothing(index_elements=["source", "issued_at"])
        .returning(IssuedForecast.id)
    ).one_or_none()
    if number is None:
        session.execute(
            update(IssuedForecast)
            .where(
                IssuedForecast.source == series.source,
                IssuedForecast.issued_at == forecast.issued_at,
                IssuedForecast.fetched_at < forecast.fetched_at,
            )
            .values(fetched_at=forecast.fetched_at)
        )
    elif len(series):
        put_rows(session, ForecastHour, weather_columns(series, forecast_id=number))
    return number is not None


def latest_forecast(session: Session, source: str, issued_before: int) -> Forecast | None:
    """Return a source's newest forecast issued at or before a time, None without one."""
    issue = session.scalars(
        select(IssuedForecast)
        .where(IssuedForecast.source == source, IssuedForecast.issued_at <= issued_before)
        .order_by(IssuedForecast.issued_at.desc())
        .limit(1)
    ).one_or_none()
    return None if issue is None else _forecast(session, issue)


def forecasts_for(session: Session, source: str, start: int, end: int) -> Iterator[Forecast]:
    """Yield every forecast for ``start <= time < end``, cut to these times, oldest issue first.

    For comparing what was forecast with what came. Read from the log one by one.
    """
    wanted = and_(ForecastHour.time >= start, ForecastHour.time < end)
    issues = session.scalars(
        select(IssuedForecast)
        .where(
            IssuedForecast.source == source,
            exists().where(ForecastHour.forecast_id == IssuedForecast.id, wanted),
        )
        .order_by(IssuedForecast.issued_at)
    ).all()
    for issue in issues:
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
        select(ForecastHour.time, *_quantities(ForecastHour))
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
    return weather_series(rows, NOWHERE if newest is None else site_of(newest), source)


def _forecast(session: Session, issue: IssuedForecast, *only: ColumnElement[bool]) -> Forecast:
    hours = session.execute(
        select(ForecastHour.time, *_quantities(ForecastHour))
        .where(ForecastHour.forecast_id == issue.id, *only)
        .order_by(ForecastHour.time)
    ).all()
    series = weather_series(hours, site_of(issue), issue.source)
    return Forecast(series, issue.issued_at, issue.fetched_at, issue.attribution)


def _keep_site(session: Session, source: str, site: Site) -> None:
    insert = insert_into(session, StationSite).values(source=source, **site_row(site))
    session.execute(
        insert.on_conflict_do_update(
            index_elements=["source"],
            set_={name: insert.excluded[name] for name in SITE_COLUMNS},
        )
    )


def _unless_same(insert: Insert) -> Insert:
    told = (*QUANTITIES, "flags")
    return insert.on_conflict_do_update(
        index_elements=["source", "time"],
        set_={name: insert.excluded[name] for name in (*told, "received_at")},
        where=or_(
            *(getattr(Observation, name).is_distinct_from(insert.excluded[name]) for name in told)
        ),
    )


def _within(source: str, start: int, end: int) -> ColumnElement[bool]:
    return and_(Observation.source == source, Observation.time >= start, Observation.time < end)


def _quantities(
    table: type[Observation] | type[ForecastHour],
) -> list[InstrumentedAttribute[float | None]]:
    return [getattr(table, name) for name in QUANTITIES]
