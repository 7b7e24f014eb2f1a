"""The reach of the spray on the map, against geometry that can be worked out by hand."""

import math

import numpy as np
import pytest
import shapely

from tests.support.farms import build, tables
from tests.support.skies import judged, timeline
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import downwind_curve
from watcher.limits.farm_arrays import FarmArrays
from watcher.web.svg.reach import spray_reach

SIDE_M = 400.0


def _judgement(**sky: float) -> Judgement:
    plan = FarmArrays.of(build(tables()))
    return judged(plan, timeline(**sky))[0]


def _case(judgement: Judgement, setup: str = "fine") -> tuple[int, int, int]:
    return judgement.plan.fields.index("hill"), judgement.plan.setups.index(setup), 0


def _field(judgement: Judgement) -> shapely.Polygon:
    field = judgement.plan.farm.ground.fields["hill"]
    assert isinstance(field, shapely.Polygon)
    return field


def test_it_ends_where_the_deposit_comes_down_to_what_a_susceptible_neighbour_stands() -> None:
    judgement = _judgement()
    case = _case(judgement)
    reach = spray_reach(judgement, case)
    at = np.array([reach.distance_m * 0.95, reach.distance_m * 1.1])
    inside, outside = downwind_curve(judgement, *case, at).upper_pct
    assert inside > reach.deposit_pct >= outside


def test_it_lies_downwind_only() -> None:
    judgement = _judgement(wind_from_deg=0.0, wind_spread_deg=10.0)  # from the north
    reach = spray_reach(judgement, _case(judgement))
    assert reach.shape is not None
    west, south, east, north = _field(judgement).bounds
    assert reach.shape.bounds[1] == pytest.approx(south - reach.distance_m, rel=1e-3)
    assert reach.shape.bounds[3] <= north + 1e-6
    # 30° to either side, the least that is allowed for: half the distance sideways (a bearing is
    # a whole degree, rounded outward).
    sideways = reach.distance_m * math.sin(math.radians(30.0))
    assert west - reach.shape.bounds[0] == pytest.approx(sideways, rel=0.05)
    assert reach.shape.bounds[2] - east == pytest.approx(sideways, rel=0.05)


def test_wind_of_no_trustworthy_direction_reaches_all_round() -> None:
    judgement = _judgement(wind_spread_deg=50.0)
    reach = spray_reach(judgement, _case(judgement))
    assert reach.shape is not None
    # A square with a border and quarter circles at its corners.
    r = reach.distance_m
    assert reach.shape.area == pytest.approx(4 * SIDE_M * r + math.pi * r**2, rel=0.01)


def test_the_field_itself_is_not_part_of_it() -> None:
    judgement = _judgement()
    reach = spray_reach(judgement, _case(judgement))
    assert reach.shape is not None
    assert reach.shape.intersection(_field(judgement)).area == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("missing", ["wind_m_s", "wind_from_deg"])
def test_without_wind_or_direction_it_is_unknown(missing: str) -> None:
    judgement = _judgement(**{missing: math.nan})
    reach = spray_reach(judgement, _case(judgement))
    assert math.isnan(reach.distance_m)
    assert reach.shape is None


def test_coarser_drops_reach_less_far() -> None:
    judgement = _judgement()
    fine, coarse = (spray_reach(judgement, _case(judgement, s)) for s in ("fine", "coarse"))
    assert coarse.distance_m < fine.distance_m
