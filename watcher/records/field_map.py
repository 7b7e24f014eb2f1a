"""The field of a record on paper: its boundary, the strips that were to be left, and the wind."""

import math
from collections.abc import Iterator
from typing import Any

import shapely
import shapely.geometry

from watcher.farm.geometry.bearings import compass_point
from watcher.farm.origin import Origin
from watcher.farm.rules.mix import brought_by
from watcher.i18n.message import Message, joined, say
from watcher.limits.catalogue import Limit
from watcher.messages.vocabulary import ORIGIN_WORDS, POINTS
from watcher.records.facts import BufferKept, Kept, ToLeave
from watcher.records.layout import PageMap, Ring, Writer
from watcher.units import Kind

_METRES_A_DEGREE = 111_195.0
"""Of latitude, on a sphere: a field is drawn to within a part in a hundred."""


def map_of(kept: Kept, writer: Writer) -> PageMap:
    """Return the map of what is kept of a job; north is up."""
    middle = shapely.geometry.shape(kept.boundary).centroid
    strips = _deepest(kept)
    winds = tuple(
        (writer.word(m.mark), m.wind_from_deg)
        for m in kept.moments
        if m.mark in {"start", "end"} and m.wind_from_deg is not None
    )
    return PageMap(
        field=tuple(_rings(kept.boundary, middle)),
        to_leave=tuple(ring for strip in strips for ring in _rings(strip.shape, middle)),
        winds=winds,
        lines=writer.words(*_lines(kept, strips, writer)),
    )


def _deepest(kept: Kept) -> list[ToLeave]:
    """The deepest strip beside each neighbour, of all the moments of the job."""
    found: dict[str, ToLeave] = {}
    for strip in (strip for moment in kept.moments for strip in moment.to_leave or ()):
        if strip.neighbour not in found or strip.depth_m > found[strip.neighbour].depth_m:
            found[strip.neighbour] = strip
    return list(found.values())


def _lines(kept: Kept, strips: list[ToLeave], writer: Writer) -> Iterator[Message]:
    for m in kept.moments:
        if m.mark not in {"start", "end"}:
            continue
        if m.wind_from_deg is None:
            yield say("{mark}: wind direction not known", mark=writer.word(m.mark))
            continue
        yield say(
            "{mark}: wind from {point} {degrees}°, {speed} at the boom",
            mark=writer.word(m.mark),
            point=POINTS[compass_point(m.wind_from_deg)],
            degrees=f"{m.wind_from_deg:.0f}",
            speed=writer.amount(m.boom_wind_m_s, Kind.SPEED),
        )
    for strip in strips:
        yield say(
            "hatched: {depth} to leave unsprayed beside {who}, {side}",
            depth=writer.amount(strip.depth_m, Kind.LENGTH, 0),
            who=strip.neighbour,
            side=POINTS[strip.side] if strip.side in POINTS else say("all round"),
        )
        if strip.how is not None:
            yield _how(strip.how, writer)
    unknown = any(
        m.to_leave is None or (stood is not None and stood.stand == "unknown")
        for m in kept.moments
        for stood in [m.limits.get(Limit.NO_SPRAY.value)]
    )
    if unknown:
        yield say("strips to leave unsprayed: not known for all of the job")
    elif not strips:
        yield say("no strip was to be left unsprayed")


def _how(how: BufferKept, writer: Writer) -> Message:
    """Return how the buffer behind a strip was worked out."""

    def length(value_m: float) -> str:
        return writer.amount(value_m, Kind.LENGTH, 0)

    parts = (ORIGIN_WORDS[Origin(how.origin)], brought_by(how.of), how.citation)
    whose = joined(part for part in parts if part)
    if not how.reduced_by:
        return say(
            "{required} asked for ({whose}), less {counted} of the gap of {gap}",
            required=length(how.required_m),
            whose=whose,
            counted=length(how.gap_counted_m),
            gap=length(how.gap_m),
        )
    return say(
        "{base} asked for ({whose}), {reductions}: {required}, less {counted} of the gap of {gap}",
        base=length(how.base_m),
        whose=whose,
        reductions=joined(how.reduced_by),
        required=length(how.required_m),
        counted=length(how.gap_counted_m),
        gap=length(how.gap_m),
    )


def _rings(shape: dict[str, Any], middle: shapely.Point) -> Iterator[Ring]:
    """The outlines of a GeoJSON geometry, its holes too."""
    east = _METRES_A_DEGREE * math.cos(math.radians(middle.y))
    parts = shapely.get_parts(shapely.geometry.shape(shape))
    for polygon in (part for part in parts if isinstance(part, shapely.Polygon)):
        for ring in (polygon.exterior, *polygon.interiors):
            yield tuple(
                ((x - middle.x) * east, (y - middle.y) * _METRES_A_DEGREE) for x, y in ring.coords
            )
