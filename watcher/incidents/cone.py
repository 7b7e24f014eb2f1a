"""The wind of some moments as one angle, and who lies within it up- or downwind of a place."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.bearings import gap
from watcher.farm.geometry.ground import Polygonal
from watcher.incidents.facts import Cone, InCone
from watcher.records.facts import Air

_DEVIATIONS = 2.0
"""Of a direction that swings normally about its mean, 95 in 100 lie within two deviations."""
_LEAST_OPEN_DEG = 30
"""Where less than this is left out, the wind came from all round."""
_POINT_M = 1.0


def cone_of(moments: Sequence[Air], default_spread_deg: float) -> Cone | None:
    """Return the smallest angle that holds the direction of every moment with its swing.

    Each moment holds two standard deviations to either side; ``default_spread_deg`` stands in for
    a deviation nobody measured. None where no direction is known.
    """
    known = [m for m in moments if m.wind_from_deg is not None]
    if not known:
        return None
    covered = np.zeros(360, dtype=bool)
    ends: list[float] = []
    for m in known:
        spread = default_spread_deg if m.wind_spread_deg is None else m.wind_spread_deg
        half = min(_DEVIATIONS * spread, 180.0)
        low, high = (m.wind_from_deg or 0.0) - half, (m.wind_from_deg or 0.0) + half
        covered[np.arange(int(np.floor(low)), int(np.ceil(high)) + 1) % 360] = True
        ends += [low, high]
    first, length = _longest_open(covered)
    all_round = length < _LEAST_OPEN_DEG
    # The ends of the open side are whole bearings; the cone ends at the moments' own.
    low = 0.0 if all_round else _nearest(ends, first + length)
    high = 360.0 if all_round else _nearest(ends, first - 1)
    return Cone(
        low_deg=low % 360.0,
        high_deg=high if all_round else high % 360.0,
        all_round=all_round,
        known=len(known),
        foretold=sum(not m.spoken["wind_from_deg"].measured for m in known),
        swing_by_default=sum(m.wind_spread_deg is None for m in known),
    )


def _nearest(ends: Sequence[float], bearing: int) -> float:
    off = [abs((end - bearing + 180.0) % 360.0 - 180.0) for end in ends]
    return ends[int(np.argmin(off))]


def _longest_open(covered: NDArray[np.bool_]) -> tuple[int, int]:
    """First bearing and length of the longest run of bearings that are not covered."""
    if not covered.any():
        return 0, 360
    shift = int(np.argmax(covered))
    best, run = (0, 0), 0
    for place, taken in enumerate(np.roll(covered, -shift)):
        run = 0 if taken else run + 1
        if run > best[1]:
            best = (place - run + 1, run)
    return (best[0] + shift) % 360, best[1]


def width_deg(cone: Cone) -> float:
    """Return how wide the angle is. [degrees]"""
    return 360.0 if cone.all_round else (cone.high_deg - cone.low_deg) % 360.0


def lies(cone: Cone | None, place: BaseGeometry, other: Polygonal) -> tuple[InCone, InCone]:
    """Return whether a shape lies in the cone upwind of a place, and downwind. Metres.

    It does where some straight way along the cone, from any part of the one, meets the other.
    """
    if cone is None:
        return "not known", "not known"
    from_place = np.isfinite(gap(_as_ground(place), other))
    first = np.floor(cone.low_deg)
    last = np.ceil(cone.low_deg + width_deg(cone))
    upwind = np.arange(int(first), int(last) + 1) % 360
    ahead = from_place[upwind].any(), from_place[(upwind + 180) % 360].any()
    up, down = ("in" if found else "out" for found in ahead)
    return up, down  # type: ignore[return-value]


def _as_ground(place: BaseGeometry) -> Polygonal:
    """A place as ground: a point is a little of it."""
    if isinstance(place, shapely.Polygon | shapely.MultiPolygon):
        return place
    return place.buffer(_POINT_M)


def sector(
    middle: tuple[float, float], cone: Cone, radius_m: float, *, upwind: bool
) -> shapely.Polygon:
    """Return the cone on the ground about a place: east and north. [m]"""
    turn = 0.0 if upwind else 180.0
    bearings = np.radians(cone.low_deg + turn + np.linspace(0.0, width_deg(cone), 73))
    east = middle[0] + radius_m * np.sin(bearings)
    north = middle[1] + radius_m * np.cos(bearings)
    rim = list(zip(east.tolist(), north.tolist(), strict=True))
    return shapely.Polygon(rim if cone.all_round else [middle, *rim])
