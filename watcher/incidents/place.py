"""Where and when an incident was, read from what somebody writes."""

import json
import re
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import shapely
from shapely.geometry.base import BaseGeometry

from watcher.farm import Farm
from watcher.farm.problems import did_you_mean
from watcher.i18n.message import joined, say
from watcher.incidents.facts import IncidentPlace
from watcher.records.errors import RecordError

AROUND_S = 1800
"""Of a time that is one moment as much is covered before and after it. [s]"""
_LONGEST_S = 24 * 3600
_FURTHEST_M = 50_000.0
_COORDINATES = re.compile(r"^\s*(-?\d{1,2}(?:\.\d+)?)\s*[,;\s]\s*(-?\d{1,3}(?:\.\d+)?)\s*$")


@dataclass(frozen=True)
class IncidentSpan:
    """The time an account is of. Epoch seconds."""

    start: int
    end: int
    moment: int | None


def place_of(farm: Farm, written: str) -> tuple[IncidentPlace, BaseGeometry]:
    """Return a place and its shape in metres about the farm's middle.

    ``written`` is a field, a neighbour, or "latitude, longitude" in degrees. Raises RecordError.
    """
    ground, name = farm.ground, written.strip()
    shapes = {**ground.neighbours, **ground.fields}
    degrees = {**ground.neighbours_deg, **ground.fields_deg}
    if name in shapes:
        middle = degrees[name].centroid
        return _place(name, middle.y, middle.x, degrees[name]), shapes[name]
    found = _COORDINATES.match(written)
    if found is None:
        raise RecordError(
            joined(
                [
                    say(
                        'the place "{place}" is neither a field nor a neighbour of the farm file, '
                        'nor coordinates; write degrees as "41.0012, -96.0034", latitude first',
                        place=name[:60],
                    ),
                    did_you_mean(name, list(shapes), say("fields and neighbours")),
                ],
                "; ",
            )
        )
    latitude, longitude = (float(number) for number in found.groups())
    if abs(latitude) <= 90 and abs(longitude) <= 180:
        point = ground.point(latitude, longitude)
        nearest = min(point.distance(shape) for shape in ground.fields.values())
        if nearest <= _FURTHEST_M:
            degrees_there = shapely.Point(longitude, latitude)
            return _place(f"{latitude:.6f}, {longitude:.6f}", latitude, longitude, degrees_there), (
                point
            )
    raise RecordError(
        say(
            "{place} is not near the farm: its weather is not known here; latitude comes first, "
            "and west and south are negative",
            place=f"{latitude:g}, {longitude:g}",
        )
    )


def _place(said: str, latitude: float, longitude: float, shape: BaseGeometry) -> IncidentPlace:
    return IncidentPlace(
        said=said,
        latitude=float(latitude),
        longitude=float(longitude),
        shape=json.loads(shapely.to_geojson(shape)),
    )


def moment_of(written: str, zone: ZoneInfo) -> int:
    """Return the epoch seconds of a date with a time, on the farm's clock. Raises RecordError."""
    try:
        found = datetime.fromisoformat(written.strip())
    except ValueError:
        found = None
    if found is None or len(written.strip()) <= len("2026-06-01"):
        raise RecordError(
            say(
                '"{text}" is no date with a time; write it as "2026-06-01T14:30"',
                text=written.strip()[:40],
            )
        )
    return int((found if found.tzinfo else found.replace(tzinfo=zone)).timestamp())


def span_of(start: int, end: int | None, now: int) -> IncidentSpan:
    """Return the span an account is of: what was named, or as much around one moment.

    Raises RecordError for a span that cannot be or is too long. Epoch seconds.
    """
    if start > now or (end is not None and end > now):
        raise RecordError(say("that time is still to come; an account tells what has been"))
    if end is None or end == start:
        return IncidentSpan(start - AROUND_S, min(start + AROUND_S, now), start)
    if end < start:
        raise RecordError(say("the time would end before it begins; swap the two"))
    if end - start > _LONGEST_S:
        raise RecordError(
            say(
                "an account is of {hours} h at most; write one for each day, or name the hours in "
                "which it may have been",
                hours=f"{_LONGEST_S / 3600:.0f}",
            )
        )
    return IncidentSpan(start, end, None)
