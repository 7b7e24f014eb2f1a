"""What a log that stands in for another one is filled with, and what it gives back.

Both are read whole before anything is written elsewhere, so that neither log waits for the other.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, delete, func, insert, or_, select
from sqlalchemy.orm import Session

from watcher.sources.base import Forecast, Observations
from watcher.store import aggregates, bin_rows, issues, weather
from watcher.store.session import farm_of
from watcher.store.tables import (
    Condition,
    FarmTable,
    IssuedForecast,
    Job,
    JobEvent,
    Observation,
    Outgoing,
    RainGauge,
    SourceHealth,
    StaleHour,
    WatchRun,
    WeatherBin,
    own_columns,
)
from watcher.weather.bins import HOUR_S, Bins

_HOURS_BACK = 38
_MESSAGES_BACK_S = 24 * HOUR_S
_COPIED = 0
"""When what was copied counts as received: before everything that comes in by itself."""

Rows = Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Wanted:
    """What of a log is copied: which sources, how far back. Durations in seconds."""

    stations: Sequence[str]
    feeds: Sequence[str]
    readings_s: int
    jobs_s: int


@dataclass(frozen=True)
class Copied:
    """What judging running jobs takes, as it was in a log at one moment."""

    at: int
    whole_from: int
    """From this full hour on all readings are there, before it their hours."""
    readings: Sequence[Observations]
    hours: Sequence[Bins]
    forecasts: Sequence[Forecast]
    rows: Mapping[type[FarmTable], Rows]


def copied(session: Session, wanted: Wanted, now: int) -> Copied:
    """Read what judging running jobs takes. ``now`` is epoch seconds."""
    whole_from = (now - wanted.readings_s) // HOUR_S * HOUR_S
    first = whole_from - _HOURS_BACK * HOUR_S
    open_jobs = select(Job.id).where(Job.ended_at.is_(None))
    last_run = select(func.max(WatchRun.id)).scalar_subquery()
    found = (weather.latest_forecast(session, name, now) for name in wanted.feeds)
    return Copied(
        at=now,
        whole_from=whole_from,
        readings=[
            weather.observations(session, name, whole_from, now + HOUR_S)
            for name in wanted.stations
        ],
        hours=[
            aggregates.bins(session, name, HOUR_S, first, whole_from) for name in wanted.stations
        ],
        forecasts=[forecast for forecast in found if forecast is not None],
        # In this order one refers to another.
        rows={
            SourceHealth: _rows(session, SourceHealth),
            RainGauge: _rows(session, RainGauge),
            Job: _rows(
                session, Job, or_(Job.ended_at.is_(None), Job.started_at >= now - wanted.jobs_s)
            ),
            JobEvent: _rows(session, JobEvent, JobEvent.job_id.in_(open_jobs)),
            Condition: _rows(session, Condition, Condition.state == "raised"),
            Outgoing: _rows(
                session,
                Outgoing,
                or_(
                    Outgoing.created_at >= now - _MESSAGES_BACK_S,
                    Outgoing.state.in_(("waiting", "sending")),
                ),
            ),
            WatchRun: _rows(session, WatchRun, WatchRun.id == last_run),
        },
    )


def fill(session: Session, copy: Copied) -> None:
    """Make a log hold what was copied of another one."""
    for emptied in reversed(list(copy.rows)):
        session.execute(delete(emptied))
    for table, rows in copy.rows.items():
        if rows:
            session.execute(insert(table), list(rows))
    for hours in copy.hours:
        if len(hours):
            bin_rows.put(session, hours)
    session.execute(delete(Observation).where(Observation.time < copy.whole_from))
    session.execute(delete(StaleHour).where(StaleHour.time < copy.whole_from))
    before = copy.whole_from - _HOURS_BACK * HOUR_S
    session.execute(delete(WeatherBin).where(WeatherBin.time < before))
    for readings in copy.readings:
        weather.add_observations(session, readings, _COPIED)
    for forecast in copy.forecasts:
        weather.add_forecast(session, forecast)
        _let_older_go(session, forecast)


@dataclass(frozen=True)
class GivenBack:
    """What came about in a log that stood in for another one."""

    readings: Sequence[tuple[Observations, int]]
    """With when they came in."""
    forecasts: Sequence[Forecast]
    health: Rows
    gauges: Rows
    messages: Rows
    notes: Rows
    """What was noted of jobs."""
    last_run: Mapping[str, Any] | None


def given_back(session: Session, since: int, *, received_from: int = _COPIED + 1) -> GivenBack:
    """Read forecasts fetched since then, readings received from then on, and all messages."""
    spans = session.execute(
        select(
            Observation.source,
            func.min(Observation.time),
            func.max(Observation.time),
            func.max(Observation.received_at),
        )
        .where(Observation.received_at >= max(received_from, _COPIED + 1))
        .group_by(Observation.source)
    ).all()
    issues = session.scalars(
        select(IssuedForecast.source).where(IssuedForecast.fetched_at >= since).distinct()
    ).all()
    runs = _rows(session, WatchRun)
    return GivenBack(
        readings=[
            (weather.observations(session, source, first, last + 1), at)
            for source, first, last, at in spans
        ],
        forecasts=[
            forecast
            for source in issues
            for forecast in weather.forecasts_for(session, source, 0, 1 << 60)
            if forecast.fetched_at >= since
        ],
        health=_rows(session, SourceHealth),
        gauges=_rows(session, RainGauge),
        messages=_rows(session, Outgoing),
        notes=_rows(session, JobEvent),
        last_run=max(runs, key=lambda run: int(run["id"]), default=None),
    )


def take_readings_back(session: Session, given: GivenBack) -> None:
    """Keep the readings of what came about in a log that stood in for this one."""
    for readings, received_at in given.readings:
        weather.add_observations(session, readings, received_at)


def take_back(session: Session, given: GivenBack) -> int | None:
    """Keep what came about in a log that stood in for this one; the number of its last run here.

    To do it again changes nothing. What is sent stays sent, whoever sent it.
    """
    take_readings_back(session, given)
    for forecast in given.forecasts:
        weather.add_forecast(session, forecast)
    for row in given.health:
        _newer_health(session, row)
    for row in given.gauges:
        _newer_gauge(session, row)
    _put_messages(session, given.messages)
    _put_notes(session, given.notes)
    return None if given.last_run is None else _put_run(session, given.last_run)


def _newer_health(session: Session, row: Mapping[str, Any]) -> None:
    known = session.get(SourceHealth, (farm_of(session), row["source"]), with_for_update=True)
    if known is None:
        session.add(SourceHealth(**row))
    elif (row["asked_at"] or 0) >= (known.asked_at or 0):
        for name, value in row.items():
            setattr(known, name, value)


def _newer_gauge(session: Session, row: Mapping[str, Any]) -> None:
    known = session.get(RainGauge, (farm_of(session), row["source"]), with_for_update=True)
    if known is None:
        session.add(RainGauge(**row))
    elif row["time"] > known.time:
        known.time, known.mm = row["time"], row["mm"]


def _put_messages(session: Session, rows: Iterable[Mapping[str, Any]]) -> None:
    by_key = {row["key"]: row for row in rows}
    known = {
        message.key: message
        for message in session.scalars(
            select(Outgoing).where(Outgoing.key.in_(by_key)).with_for_update()
        )
    }
    for key, row in by_key.items():
        values = {name: value for name, value in row.items() if name != "id"}
        if key not in known:
            session.add(Outgoing(**values))
            continue
        message = known[key]
        if message.state != "sent":
            for name in ("state", "attempts", "due_at", "lease_until", "last_error", "sent_at"):
                setattr(message, name, values[name])
        if message.acknowledged_at is None:
            message.acknowledged_at = values["acknowledged_at"]
            message.acknowledged_by = values["acknowledged_by"]
    session.flush()


def _put_notes(session: Session, rows: Iterable[Mapping[str, Any]]) -> None:
    for row in rows:
        of_job = and_(
            JobEvent.job_id == row["job_id"], JobEvent.at == row["at"], JobEvent.what == row["what"]
        )
        if session.scalars(select(JobEvent.id).where(of_job).limit(1)).first() is None:
            session.add(JobEvent(**{k: v for k, v in row.items() if k != "id"}))


def _put_run(session: Session, row: Mapping[str, Any]) -> int:
    known = session.scalars(
        select(WatchRun).where(WatchRun.started_at == row["started_at"]).limit(1)
    ).one_or_none()
    if known is None:
        known = WatchRun(**{k: v for k, v in row.items() if k != "id"})
        session.add(known)
        session.flush()
    known.seen_at = max(known.seen_at, row["seen_at"])
    known.stopped_at = known.stopped_at or row["stopped_at"]
    return known.id


def _let_older_go(session: Session, forecast: Forecast) -> None:
    older = select(IssuedForecast.id).where(
        IssuedForecast.source == forecast.series.source,
        IssuedForecast.issued_at < forecast.issued_at,
    )
    issues.let_go(session, older)


def _rows(session: Session, table: type[FarmTable], *where: ColumnElement[bool]) -> Rows:
    columns = [getattr(table, name) for name in own_columns(table)]
    found = session.execute(select(*columns).where(*where))
    return [dict(row._mapping) for row in found]
