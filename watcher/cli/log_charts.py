"""``watcher log chart`` and ``watcher log rose``: the log as pictures."""

import time
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from sqlalchemy.orm import Session

from watcher.charts.log import JobSpan, LoggedDays, draw_log
from watcher.charts.rose import draw_rose
from watcher.charts.style import CannotDrawError
from watcher.cli.context import answer, open_farm, open_log, open_settings, stop
from watcher.cli.names import known
from watcher.cli.time_range import From, To, remembered, stretch
from watcher.farm.feeds import observes
from watcher.i18n.message import say
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.history import past_hours
from watcher.store import aggregates, jobs
from watcher.units import Kind, convert
from watcher.weather.bins import TEN_MINUTES_S
from watcher.weather.rose import rose

Output = Annotated[Path, typer.Option("--output", "-o", help="The picture, .png or .svg.")]
Station = Annotated[
    str | None,
    typer.Option(help="The station; the first with anything from then when left out."),
]
_EDGES = {"us": (3.0, 6.0, 10.0, 15.0), "metric": (5.0, 10.0, 15.0, 25.0)}
"""Where classes of speed meet, in the unit shown."""
_LONGEST_JOB_S = 3 * 86_400


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("chart")(chart)
    app.command("rose")(wind_rose)


def chart(
    start: From,
    end: To,
    file: Output,
    source: Station = None,
    field: Annotated[
        str | None, typer.Option(help="The field whose bounds are shown; the first if not.")
    ] = None,
) -> None:
    """Draw wind and gusts against a field's bounds, direction, air, inversions, and the jobs."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    plan = FarmArrays.of(farm)
    [where, *_] = known([field] if field else [], plan.fields, "field")
    index, hears = plan.fields.index(where), plan.hears(where)
    first, last = stretch(start, end, farm)
    with open_log(settings) as log, log.reading() as session:
        first, last = remembered(session, first, last, farm)
        station = _station(session, hears, source, first, last)
        days = LoggedDays(
            plan,
            index,
            int(plan.allowed[index].argmax()),
            first,
            last,
            measured=aggregates.finest(session, station, first, last),
            hours=past_hours(session, farm, first, last, hears),
            jobs=_jobs(session, where, first, last),
        )
    try:
        draw_log(file, days)
    except CannotDrawError as error:
        stop(str(error))
    answer(
        say(
            "Drawn in {file}: {count} times of {station}.",
            file=str(file),
            count=len(days.measured),
            station=station,
        )
    )


def wind_rose(start: From, end: To, file: Output, source: Station = None) -> None:
    """Draw where the wind came from, how often and how strong."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    units = farm.config.farm.units
    first, last = stretch(start, end, farm)
    measuring = [name for name, entry in farm.config.sources.items() if observes(entry)]
    with open_log(settings) as log, log.reading() as session:
        first, last = remembered(session, first, last, farm)
        station = _station(session, measuring, source, first, last)
        winds = [
            (block.series.wind_m_s, block.series.wind_from_deg)
            for block in aggregates.blocks(session, station, TEN_MINUTES_S, first, last)
        ]
    wind_m_s, from_deg = (np.concatenate(parts) for parts in zip(*winds, strict=True))
    unit = Kind.SPEED.shown[units]
    found = rose(
        wind_m_s=wind_m_s,
        from_deg=from_deg,
        edges_m_s=[convert(edge, unit, Kind.SPEED) for edge in _EDGES[units]],
    )
    title = f"Wind at {station}, ten-minute means, {start} to {end}"
    try:
        draw_rose(file, found, title, units)
    except CannotDrawError as error:
        stop(str(error))
    answer(
        say(
            "Drawn in {file}: {count} ten-minute means of {station}.",
            file=str(file),
            count=found.known,
            station=station,
        )
    )


def _station(
    session: Session, stations: Sequence[str], asked_for: str | None, start: int, end: int
) -> str:
    """The station asked for, else the first that the log has anything of from then."""
    if not stations:
        stop(say("no source of this farm measures; there is nothing to draw"))
    asked = known([asked_for] if asked_for else [], stations, "station")
    there = (name for name in asked if aggregates.has_any(session, name, start, end))
    station = next(there, None)
    if station is None:
        stop(
            say(
                "the log has nothing of {stations} from then; see 'watcher sources'",
                stations=", ".join(asked),
            )
        )
    return station


def _jobs(session: Session, field: str, start: int, end: int) -> list[JobSpan]:
    """The jobs of a field that were under way in the time."""
    return [
        JobSpan(f"job {job.id}, {job.setup}", job.started_at, job.ended_at)
        for job in jobs.past_jobs(session, start - _LONGEST_JOB_S, min(end, int(time.time())))
        if job.field == field and (job.ended_at is None or job.ended_at > start)
    ]
