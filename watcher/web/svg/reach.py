"""How far the spray of a field reaches in this wind, as a shape on the ground."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.ground import Polygonal
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import downwind_curve
from watcher.limits.downwind import sector

_FURTHEST_M = 1000.0
_STEP_DEG = 10


@dataclass(frozen=True)
class SprayReach:
    """Where more than ``deposit_pct`` of the rate may land. ``shape`` is None where none does."""

    distance_m: float
    """How far downwind of the field's edge; NaN where wind or direction is not known."""
    deposit_pct: float
    shape: BaseGeometry | None
    estimated: bool = True
    """Whether any curve tells of the sprayer's drift."""
    as_open_boom: bool = False
    """Whether it is estimated as if there were no hood."""


def spray_reach(judgement: Judgement, case: tuple[int, int, int]) -> SprayReach:
    """Work out the reach of one field, setup and time, for what a susceptible neighbour stands.

    By the upper estimate, to every side the wind may blow within its spread.
    """
    field, _, time = case
    plan = judgement.plan
    deposit = plan.farm.config.judging.tolerable_deposit.susceptible
    distances = np.geomspace(1.0, _FURTHEST_M, 120)
    upper = downwind_curve(judgement, *case, distances).upper_pct
    if np.isnan(upper).any():
        return SprayReach(math.nan, deposit, None, bool(plan.drift_estimated[case[1]]))
    hooded = bool(plan.hood_not_counted[case[1]])
    over = np.flatnonzero(upper > deposit)
    if not over.size:
        return SprayReach(0.0, deposit, None)
    far = float(distances[over[-1]])
    arc = sector(plan, judgement.series.at(slice(time, time + 1)))
    ground = plan.farm.ground.fields[plan.fields[field]]
    count = int(arc.count[0])
    if count >= 360:
        around = ground.buffer(far).difference(ground)
        return SprayReach(far, deposit, around, as_open_boom=hooded)
    bearings = np.arange(0, count, _STEP_DEG) + int(arc.first[0])
    shape = _swept(ground, far, np.append(bearings, arc.first[0] + count))
    return SprayReach(far, deposit, shape, as_open_boom=hooded)


def _swept(ground: Polygonal, far_m: float, bearings: NDArray[np.float64]) -> BaseGeometry:
    """The ground a shape passes over when it is pushed so far along every bearing."""
    along = np.radians(bearings)
    moves = far_m * np.column_stack([np.sin(along), np.cos(along)])
    edges = [(start, end) for ring in _rings(ground) for start, end in pairwise(ring)]
    # Each edge, pushed along all the bearings, sweeps the hull of its ends and their fans.
    swept = [
        shapely.convex_hull(shapely.MultiPoint(np.vstack([[a, b], a + moves, b + moves])))
        for a, b in edges
    ]
    return shapely.union_all([ground, *swept]).difference(ground)


def _rings(ground: Polygonal) -> list[NDArray[np.float64]]:
    polygons = shapely.get_parts(ground)
    return [
        shapely.get_coordinates(ring)
        for polygon in polygons
        for ring in (polygon.exterior, *polygon.interiors)
    ]
