"""Who lies which way from whom: how far drift travels from a field before it meets a neighbour.

Bearings are degrees clockwise from true north, along the travel (not "from"); index ``b`` of a
``[..., 360]`` array is the whole degree ``b``.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.ground import Ground, Polygonal

Floats = NDArray[np.float64]

_ANGLES = np.deg2rad(np.arange(360.0))
_EAST, _NORTH = np.sin(_ANGLES), np.cos(_ANGLES)
_EAST[180], _NORTH[[90, 270]] = 0.0, 0.0  # exact, so that grid-aligned farms stay grid-aligned

_CUT_M = 0.5
_GRAZE_M = 1e-6
_EDGES_AT_A_TIME = 1000  # each seen under some dozens of bearings: within a processor's cache

_POINTS_OF_COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True)
class Reach:
    """Pairs of a field and a neighbour within reach of each other, and field widths.

    ``pair_field`` and ``pair_neighbour`` [P] are positions in the ground's fields and neighbours,
    ordered by field, then neighbour. ``gap_m`` [P, 360] is the distance from the field's edge along
    each bearing until the field's shadow first touches the neighbour; infinite where it never does,
    and it may be longer than the reach asked for. ``width_m`` [F, 360] is the field's extent along
    each bearing.
    """

    pair_field: NDArray[np.intp]
    pair_neighbour: NDArray[np.intp]
    gap_m: Floats
    width_m: Floats


def reach(ground: Ground, distance_m: float) -> Reach:
    """Find every field and neighbour closer than ``distance_m`` and how they lie to each other."""
    fields = np.array(list(ground.fields.values()), dtype=object)
    neighbours = np.array(list(ground.neighbours.values()), dtype=object)
    tree = shapely.STRtree(neighbours)
    near = tree.query(fields, predicate="dwithin", distance=distance_m)
    near = near[:, np.lexsort((near[1], near[0]))]
    return Reach(
        pair_field=near[0],
        pair_neighbour=near[1],
        gap_m=_gaps(fields, neighbours, near),
        width_m=np.array([width(field) for field in fields]).reshape(-1, 360),
    )


def width(shape: Polygonal) -> Floats:
    """Return the extent of a shape along each bearing. [360], m"""
    east, north = shapely.get_coordinates(shapely.convex_hull(shape)).T
    along = np.outer(_EAST, east) + np.outer(_NORTH, north)
    return np.asarray(np.ptp(along, axis=1))


def gap(field: Polygonal, neighbour: Polygonal) -> Floats:
    """Return how far the field slides along each bearing until it touches the neighbour. [360], m

    Exact: the first contact of two polygons sliding along a line is always a vertex of one on an
    edge of the other. Where they touch or overlap, the neighbour is first cut out of the field
    with half a metre to spare, so that the gap is at most half a metre towards the neighbour and
    bearings pointing away stay infinite. A field with nothing left has gap 0 all round.
    """
    own, other = np.array([field], dtype=object), np.array([neighbour], dtype=object)
    gaps = _gaps(own, other, np.array([[0], [0]]))
    return np.asarray(gaps[0])


def _gaps(own: NDArray[np.object_], other: NDArray[np.object_], pairs: NDArray[np.intp]) -> Floats:
    """Return the gap of each pair of a field and a neighbour, by their places. [P, 360], m"""
    whole, around = _edges_of(own), _edges_of(other)
    near = shapely.dwithin(own[pairs[0]], other[pairs[1]], _CUT_M)
    shortest = np.full((pairs.shape[1], 360), np.inf)
    waiting: list[tuple[int, Floats]] = []
    count = 0
    for pair, (f, n) in enumerate(pairs.T):
        edges = whole[f]
        if near[pair]:
            spared = shapely.buffer(other[n], _CUT_M, join_style="mitre")
            edges = _edges(shapely.difference(own[f], spared))
        if not len(edges):
            shortest[pair] = 0.0
            continue
        waiting.append((pair, _seen(edges, around[n])))
        count += len(waiting[-1][1])
        if count >= _EDGES_AT_A_TIME:
            _put_first_hits(shortest, waiting)
            waiting, count = [], 0
    _put_first_hits(shortest, waiting)
    return shortest


def _seen(field_edges: Floats, neighbour_edges: Floats) -> Floats:
    """Each edge as seen from each vertex of the other.

    From the neighbour's the field's edges mirrored, for there it is the edge that slides.
    """
    from_field = neighbour_edges - field_edges[:, None, :1]
    from_neighbour = neighbour_edges[:, None, :1] - field_edges
    return np.concatenate([from_field.reshape(-1, 2, 2), from_neighbour.reshape(-1, 2, 2)])


def side(field: Polygonal, neighbour: Polygonal) -> str:
    """Return which side of the field faces the neighbour, as ``facing`` has it."""
    return facing(gap(field, neighbour))


def facing(gap_m: Floats) -> str:
    """Return which side of a field faces who lies so far off along each bearing. [360], m

    ``"N"``, ``"NE"``, … or ``"all round"``: the mean of the bearings along which the neighbour is
    nearest, so that one lying along two sides of a corner is on the corner.
    """
    nearest = gap_m <= gap_m.min() + 1.0
    east, north = float(_EAST[nearest].mean()), float(_NORTH[nearest].mean())
    if np.hypot(east, north) < 1 / 3:
        return "all round"
    return compass_point(float(np.rad2deg(np.arctan2(east, north))))


def compass_point(bearing_deg: float) -> str:
    """Return the nearest of the eight points of the compass: ``"NE"`` for 50 degrees."""
    return _POINTS_OF_COMPASS[round(bearing_deg / 45.0) % 8]


@dataclass(frozen=True)
class Side:
    """One straight side of a field, as seen from inside it."""

    outward_deg: float
    """Bearing one faces standing in the field with the side ahead. [degrees]"""
    length_m: float
    corners: tuple[tuple[float, float], tuple[float, float]]
    """Its ends, east and north; the field is to the left of the way from one to the other. [m]"""

    @property
    def point(self) -> str:
        """The side as the trade says it: the ``"N"`` side."""
        return compass_point(self.outward_deg)


def sides(field: Polygonal) -> tuple[Side, ...]:
    """Return the straight sides of a field's outline, longest first.

    Corners within 2 % of the field's size of a straight line are left out. Yards inside the field
    have no sides.
    """
    outline = shapely.simplify(field, 0.02 * float(np.sqrt(field.area)))
    rings = [part.exterior for part in shapely.get_parts(shapely.orient_polygons(outline))]
    edges = np.concatenate([_edges(shapely.Polygon(ring)) for ring in rings])
    east, north = (edges[:, 1] - edges[:, 0]).T
    # Outlines run counter-clockwise, so that outward is to the right of the way they run.
    outward = np.rad2deg(np.arctan2(north, -east)) % 360.0
    length = np.hypot(east, north)
    return tuple(
        Side(float(outward[i]), float(length[i]), (tuple(edges[i, 0]), tuple(edges[i, 1])))
        for i in np.argsort(-length)
    )


def _edges(shape: BaseGeometry) -> Floats:
    """Return all edges of all rings, holes too: a yard inside a field is hit from all sides.

    [edge, start or end, east or north], m. The starts are all the vertices.
    """
    return _edges_of(np.array([shape], dtype=object))[0]


def _edges_of(shapes: NDArray[np.object_]) -> list[Floats]:
    """Return the edges of each of many shapes."""
    parts, shape = shapely.get_parts(shapes, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[:-1] == ring[1:]
    edges = np.stack([xy[:-1][joined], xy[1:][joined]], axis=1)
    owner = shape[part][ring[:-1][joined]]
    return np.split(edges, np.searchsorted(owner, np.arange(1, len(shapes))))


def _put_first_hits(shortest: Floats, seen: Sequence[tuple[int, Floats]]) -> None:
    """Cast a ray from the origin along every bearing onto edges that keep clear of the origin.

    ``shortest`` [P, 360], m, gets the shortest ray that hits for each bearing of each pair whose
    edges are ``seen``; it stays as it is where none does.
    """
    if not seen:
        return
    edges = np.concatenate([each for _, each in seen])
    row = np.repeat([pair for pair, _ in seen], [len(each) for _, each in seen])
    for start in range(0, len(edges), _EDGES_AT_A_TIME):
        block = slice(start, start + _EDGES_AT_A_TIME)
        which, bearing = _under_bearings(edges[block])
        along = _ray(edges[block][which], _EAST[bearing], _NORTH[bearing])
        np.minimum.at(shortest.reshape(-1), 360 * row[block][which] + bearing, along)


def _under_bearings(edges: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Every edge's place again for each bearing under which it may lie from the origin, and that.

    From both ends on to the next whole bearing, so that none is lost to rounding.
    """
    one, other = np.rad2deg(np.arctan2(edges[:, :, 0], edges[:, :, 1])).T
    turn = (other - one + 180.0) % 360.0 - 180.0
    low = np.where(turn < 0, other, one)
    first = np.floor(low).astype(np.intp)
    count = np.ceil(low + np.abs(turn)).astype(np.intp) - first + 1
    before = np.cumsum(count) - count
    bearing = np.arange(count.sum()) + np.repeat(first - before, count)
    return np.repeat(np.arange(count.size), count), bearing % 360


def _ray(edges: Floats, east: Floats, north: Floats) -> Floats:
    """How far along its bearing each edge is hit; infinite where it is missed."""

    # Turned so that the ray runs along "ahead": it hits an edge whose two ends lie on either side
    # of it, at the edge's own "ahead" there.
    def turned(xy: Floats) -> tuple[Floats, Floats]:
        return north * xy[:, 0] - east * xy[:, 1], east * xy[:, 0] + north * xy[:, 1]

    start_aside, start_ahead = turned(edges[:, 0])
    end_aside, end_ahead = turned(edges[:, 1])
    span = end_aside - start_aside
    along_ray = np.abs(span) < _GRAZE_M  # its ends belong to other edges too, which are hit
    slope = (end_ahead - start_ahead) / np.where(along_ray, np.inf, span)
    ray = start_ahead - slope * start_aside
    low, high = np.minimum(start_aside, end_aside), np.maximum(start_aside, end_aside)
    missed = (low > _GRAZE_M) | (high < -_GRAZE_M) | along_ray | (ray < 0)
    return np.where(missed, np.inf, ray)
