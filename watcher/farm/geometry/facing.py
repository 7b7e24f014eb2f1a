"""Which sides of a field face a neighbour, and with what part of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.bearings import Side
from watcher.farm.geometry.ground import Polygonal

_LEAST_PART_M2 = 1.0
_SQUARE, _FLARED = 0.0, 1.0


@dataclass(frozen=True)
class Faced:
    """What of a neighbour lies in front of a side. ``side`` is None for a yard inside the field."""

    side: Side | None
    part: Polygonal
    distance_m: float


def faced(
    field: Polygonal, sides: Sequence[Side], neighbour: Polygonal, within_m: float
) -> list[Faced]:
    """Return the sides of a field that face a neighbour no further than ``within_m``.

    A side faces what lies straight ahead of it. What lies ahead of no side, off a corner, is faced
    by the sides that see it half to one hand; a yard in a hole of the field by none of them.
    """
    pieces = [p for p in shapely.get_parts(neighbour) if shapely.dwithin(field, p, within_m)]
    return [found for piece in pieces for found in _faced(field, sides, piece, within_m)]


def _faced(
    field: Polygonal, sides: Sequence[Side], piece: shapely.Polygon, within_m: float
) -> list[Faced]:
    if _in_a_hole(field, piece):
        return [Faced(None, piece, float(shapely.distance(field, piece)))]
    ahead = list(_ahead(sides, piece, within_m, _SQUARE))
    return ahead or list(_ahead(sides, piece, within_m, _FLARED))


def _in_a_hole(field: Polygonal, piece: shapely.Polygon) -> bool:
    """Whether most of it lies within the field's outline."""
    outline = shapely.union_all([shapely.Polygon(p.exterior) for p in shapely.get_parts(field)])
    return bool(shapely.intersection(outline, piece).area > piece.area / 2)


def _ahead(
    sides: Sequence[Side], piece: shapely.Polygon, within_m: float, flare: float
) -> Iterator[Faced]:
    for side in sides:
        part = shapely.intersection(_before(side, within_m, flare), piece)
        if part.area > _LEAST_PART_M2:
            line = shapely.LineString(side.corners)
            yield Faced(side, _polygons(part), float(shapely.distance(line, part)))


def _before(side: Side, depth_m: float, flare: float) -> shapely.Polygon:
    """The ground before a side; with a flare of 1 it widens by as much as it is deep."""
    start, end = np.array(side.corners)
    along = (end - start) / np.hypot(*(end - start))
    outward = np.array([along[1], -along[0]]) * depth_m
    aside = along * depth_m * flare
    return shapely.Polygon([start, end, end + outward + aside, start + outward - aside])


def _polygons(shape: BaseGeometry) -> Polygonal:
    """What of an intersection has an area."""
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, shapely.Polygon)]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
