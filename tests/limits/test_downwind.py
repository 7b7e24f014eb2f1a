"""Who lies downwind: the arc the spray may go to, and the nearest of what lies in it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.limits.downwind import Sector, gap_downwind, per_field, sector
from watcher.limits.farm_arrays import FarmArrays


def arc(from_deg: float, spread: float, above: str = "60 deg") -> tuple[int, int, bool]:
    config = farm_tables() | {"judging": {"no_direction_above": above}}
    series = fair_weather(hours=1, wind_from_deg=from_deg, wind_spread_deg=spread)
    found = sector(FarmArrays.of(build_farm(config)), series)
    return int(found.first[0]), int(found.count[0]), bool(found.known[0])


@pytest.mark.parametrize(
    ("from_deg", "spread", "first", "count"),
    [
        (90.0, 5.0, 240, 61),  # thirty degrees to either side at least
        (90.0, 15.0, 240, 61),
        (90.0, 20.0, 230, 81),  # two deviations
        (180.0, 5.0, 330, 61),  # across north
        (90.5, 5.0, 240, 62),  # outward to whole degrees
        (90.0, 60.0, 150, 241),
    ],
)
def test_the_arc_is_thirty_degrees_or_two_deviations_to_either_side(
    from_deg: float, spread: float, first: int, count: int
) -> None:
    assert arc(from_deg, spread) == (first, count, True)


def test_a_wind_that_wanders_too_far_may_go_anywhere() -> None:
    assert arc(90.0, 60.1)[1:] == (360, True)
    assert arc(np.nan, 60.1)[1:] == (360, True)
    assert arc(np.nan, 60.0)[2] is False


arcs = st.lists(st.tuples(st.integers(0, 359), st.integers(1, 360)), min_size=1, max_size=4)


@given(arcs, st.integers(0, 2**32 - 1))
def test_the_gap_downwind_is_the_least_of_each_arc(arcs: list[tuple[int, int]], seed: int) -> None:
    gap = np.random.default_rng(seed).uniform(0, 1000, (3, 360)).astype(np.float32)
    first, count = np.array(arcs).T
    found = gap_downwind(gap, Sector(first, count, np.ones(len(arcs), dtype=bool)))
    for time, (begins, bearings) in enumerate(arcs):
        asked = (begins + np.arange(bearings)) % 360
        np.testing.assert_array_equal(found[:, time], gap[:, asked].min(axis=1))


def test_pairs_are_reduced_to_their_fields_and_a_field_without_one_has_nobody() -> None:
    """Two fields of four have a neighbour: S and K."""
    plan = FarmArrays.of(build_farm(farm_tables()))
    of_hours = per_field(plan, np.maximum, np.array([[3.0, 5.0], [4.0, 2.0]]), -1.0)
    assert of_hours.tolist() == [[-1.0, -1.0], [3.0, 5.0], [-1.0, -1.0], [4.0, 2.0]]
    found = per_field(plan, np.maximum, np.array([3.0, 4.0]), -1.0)
    assert dict(zip(plan.fields, found.tolist(), strict=True)) == {
        "W": -1.0,
        "S": 3.0,
        "C": -1.0,
        "K": 4.0,
    }
