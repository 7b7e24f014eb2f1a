"""What the log and the farm file hold of a place and a time, gathered for an account."""

import json
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from sqlalchemy.orm import Session

from watcher.farm.feeds import observes
from watcher.incidents.cone import cone_of, lies
from watcher.incidents.facts import (
    Account,
    Cone,
    InCone,
    JobThen,
    LayThere,
    Silence,
    StationThen,
    Suspected,
)
from watcher.incidents.place import IncidentSpan, place_of
from watcher.judge.farm_judgement import judge_look
from watcher.judge.timeline import MEAN_S
from watcher.limits.farm_arrays import FarmArrays
from watcher.records.commands import record_of
from watcher.records.facts import Air
from watcher.records.form import split
from watcher.records.gather import rigs_and_pauses
from watcher.records.judged_weather import Compose, air
from watcher.store import aggregates, jobs, weather
from watcher.store.tables import Job

WITHIN_M = 5000.0
"""How far off who lies where is looked for. [m]"""
BEFORE_S = 2 * 3600
"""Jobs that ended so long before are listed too: fine drops hang in still air. [s]"""
_LONGEST_JOB_S = 48 * 3600
_CLOSE_S, _WIDE_S, _CLOSE_UP_TO_S = 600, 1800, 2 * 3600
_OF_A_JOB = {
    "product",
    "registration",
    "rate",
    "total",
    "area",
    "part",
    "started",
    "ended",
    "nozzle",
    "nozzle_size",
    "droplets",
    "pressure",
    "carrier",
    "speed",
    "boom_height",
    "adjuvant",
}
"""What is taken from a job's record."""


def gather(
    session: Session,
    plan: FarmArrays,
    compose: Compose,
    *,
    number: int,
    suspected: Suspected,
    written: str,
    span: IncidentSpan,
    seen: str,
    step: str | None,
) -> Account:
    """Gather an account of a place and a span. Raises RecordError for a place that is none."""
    farm, basics = plan.farm, plan.farm.config.farm
    place, ground = place_of(farm, written)
    field = min(plan.fields, key=lambda name: farm.ground.fields[name].distance(ground))
    moments = tuple(_moments(session, plan, compose, field, span))
    cone = cone_of(moments, farm.config.judging.direction_spread)
    there = sorted(_there(plan, cone, place.said, ground), key=lambda one: one.distance_m)
    return Account(
        number=number,
        suspected=suspected,
        seen=seen,
        farm=basics.name,
        time_zone=basics.time_zone,
        units=basics.units,
        place=place,
        told_at=span.moment,
        start=span.start,
        end=span.end,
        field=field,
        moments=moments,
        stations=tuple(_stations(session, plan, ground, span)),
        cone=cone,
        there=tuple(there),
        within_m=WITHIN_M,
        jobs=tuple(_jobs(session, plan, cone, ground, span)),
        before_s=BEFORE_S,
        ground={f"{one.kind} {one.name}": _geojson(plan, one) for one in there},
        step=step,
    )


def marks(span: IncidentSpan) -> Iterator[tuple[int, str]]:
    """Yield the moments of a span and what they are called. Epoch seconds."""
    yield span.start, "start"
    step = _CLOSE_S if span.end - span.start <= _CLOSE_UP_TO_S else _WIDE_S
    for at in range(span.start + step, span.end, step):
        yield at, f"{(at - span.start) // 60} min"
    if span.end > span.start:
        yield span.end, "end"


def _moments(
    session: Session, plan: FarmArrays, compose: Compose, field: str, span: IncidentSpan
) -> Iterator[Air]:
    for at, mark in marks(span):
        timeline = compose(at).of(field)
        yield air(session, timeline, judge_look(plan, timeline), mark)


def _stations(
    session: Session, plan: FarmArrays, ground: BaseGeometry, span: IncidentSpan
) -> Iterator[StationThen]:
    for name, entry in plan.farm.config.sources.items():
        if not observes(entry):
            continue
        at = _spot(session, plan, name)
        series = weather.observations(session, name, span.start - MEAN_S, span.end + 1).usable()
        usable = np.isfinite(
            [getattr(series, column) for column in ("wind_m_s", "temp_c", "humidity_pct")]
        ).any(axis=0)
        yield StationThen(
            name=name,
            distance_m=None if at is None else float(ground.distance(at)),
            bearing_deg=None if at is None else _bearing(ground, at),
            readings=int((usable & (series.times >= span.start)).sum()),
            whole=aggregates.has_readings(session, name, span.start - MEAN_S, span.end + 1),
            silent=tuple(silences(series.times[usable].tolist(), span)),
        )


def _spot(session: Session, plan: FarmArrays, name: str) -> shapely.Point | None:
    """Where a station stands; None where nobody said, and the farm's middle stands in. [m]"""
    ground, site = plan.farm.ground, weather.site(session, name)
    given = getattr(plan.farm.config.sources[name], "place", None)
    if given is None and site is not None:
        given = site.latitude, site.longitude
    if given is None or np.allclose(given, ground.middle, rtol=0.0, atol=1e-9):
        return None
    return ground.point(*given)


def silences(times: Sequence[int], span: IncidentSpan) -> Iterator[Silence]:
    """Yield the stretches of a span without a reading for longer than a mean takes.

    ``times`` are those of the readings from a mean's length before the span on. Epoch seconds.
    """
    known = [span.start - MEAN_S, *times, span.end]
    for before, after in pairwise(known):
        if after - before > MEAN_S:
            since = max(before, span.start)
            if after > since:
                yield Silence(since=since, until=after)


def _there(
    plan: FarmArrays, cone: Cone | None, said: str, ground: BaseGeometry
) -> Iterator[LayThere]:
    config, farm = plan.farm.config, plan.farm.ground
    found = [("field", name, farm.fields[name], config.fields[name].crop) for name in plan.fields]
    found += [
        ("neighbour", name, farm.neighbours[name], entry.grows)
        for name, entry in config.neighbours.items()
    ]
    for kind, name, shape, grows in found:
        distance = float(ground.distance(shape))
        if distance > WITHIN_M or name == said:
            continue
        up, down = lies(cone, ground, shape)
        yield LayThere(
            kind=kind,
            name=name,
            grows=grows,
            distance_m=distance,
            bearing_deg=_bearing(ground, shape),
            upwind=up,
            downwind=down,
        )


def _bearing(place: BaseGeometry, other: BaseGeometry) -> float | None:
    """From the middle of a place to the nearest part of another shape; None where they touch."""
    if place.distance(other) <= 0.0:
        return None
    start, end = shapely.get_coordinates(shapely.shortest_line(place.centroid, other))
    east, north = end - start
    return float(np.degrees(np.arctan2(east, north)) % 360.0)


def _geojson(plan: FarmArrays, one: LayThere) -> dict[str, object]:
    ground = plan.farm.ground
    shapes = ground.fields_deg if one.kind == "field" else ground.neighbours_deg
    found: dict[str, object] = json.loads(shapely.to_geojson(shapes[one.name]))
    return found


def _jobs(
    session: Session, plan: FarmArrays, cone: Cone | None, ground: BaseGeometry, span: IncidentSpan
) -> Iterator[JobThen]:
    since = span.start - BEFORE_S
    for job in jobs.past_jobs(session, since - _LONGEST_JOB_S, span.end + 1):
        if job.ended_at is None or job.ended_at >= since:
            yield _job(session, plan, job, cone=cone, ground=ground, span=span)


def _job(
    session: Session,
    plan: FarmArrays,
    job: Job,
    *,
    cone: Cone | None,
    ground: BaseGeometry,
    span: IncidentSpan,
) -> JobThen:
    record = record_of(session, job.id)
    _, pauses = rigs_and_pauses(session, job, job.started_at)
    shape = plan.farm.ground.fields.get(job.field)
    upwind: InCone = "not known" if shape is None else lies(cone, ground, shape)[0]
    last = record.entries[-1].link if record.entries else None
    state = "none" if last is None else "open" if record.closed is None else "closed"
    return JobThen(
        job=job.id,
        field=job.field,
        setup=job.setup,
        sprayer=job.sprayer,
        state=job.state,
        started=job.started_at,
        ended=job.ended_at,
        pauses=pauses,
        during=job.ended_at is None or job.ended_at >= span.start,
        distance_m=None if shape is None else float(ground.distance(shape)),
        bearing_deg=None if shape is None else _bearing(ground, shape),
        upwind=upwind,
        record=state,
        record_entry=None if last is None else last.number,
        record_hash=None if last is None else last.hash,
        values={k: held for k, held in record.values.items() if split(k)[0].key in _OF_A_JOB},
    )
