"""What becomes of a setup's drops: lifetimes against Amsden's printed table (from memory)."""

from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import fair_weather
from watcher.judge.drops_in_air import DropsInAir, drops_in_air
from watcher.judge.judgement import judge
from watcher.judge.neighbour_deposits import neighbour_deposits
from watcher.limits.farm_arrays import FarmArrays


def drops(plan: FarmArrays, setup: str = "fine15", **sky: Any) -> DropsInAir:
    return drops_in_air(judge(plan, fair_weather(**sky)), 0, plan.setups.index(setup), 0)


@pytest.mark.parametrize(
    ("temp_c", "humidity_pct", "lasts_s"), [(20.0, 80.0, (57, 227)), (30.0, 50.0, (16, 65))]
)
def test_drops_of_100_and_200_micrometres_last_as_long_as_tabled(
    plan: FarmArrays, temp_c: float, humidity_pct: float, lasts_s: tuple[float, float]
) -> None:
    found = drops(plan, temp_c=temp_c, humidity_pct=humidity_pct).drops
    assert [d.diameter_m for d in found[:2]] == [1e-4, 2e-4]
    # The table takes 2.2 K of wet-bulb depression where a psychrometer reads 2.3.
    assert [d.lasts_s for d in found[:2]] == pytest.approx(lasts_s, rel=0.07)


def test_small_drops_go_further_than_large_ones(plan: FarmArrays) -> None:
    assert np.all(np.diff([d.goes_m for d in drops(plan).drops]) < 0)


def test_in_more_wind_every_drop_goes_further(plan: FarmArrays) -> None:
    calm, windy = (drops(plan, wind_mph=mph).drops for mph in (4.0, 9.0))
    assert all(w.goes_m > c.goes_m for c, w in zip(calm, windy, strict=True))


def test_of_finer_drops_more_stays_in_the_air(plan: FarmArrays) -> None:
    fine, coarse = (drops(plan, setup).airborne for setup in ("fine15", "coarse15"))
    assert all(f[1] > c[1] for f, c in zip(fine, coarse, strict=True))


def test_what_is_in_the_air_and_what_lands_on_a_neighbour_are_of_one_strength(
    plan: FarmArrays,
) -> None:
    """Fine drops leave as much more in the air as they leave on the ground."""
    judgement = judge(plan, fair_weather(wind_from_deg=180.0))
    fine, coarse = (plan.setups.index(name) for name in ("fine15", "coarse15"))
    field = plan.fields.index("S")
    landing, flying = (
        [neighbour_deposits(judgement, field, s, 0)[0].edge_pct for s in (fine, coarse)],
        [drops_in_air(judgement, field, s, 0).airborne[0][1] for s in (fine, coarse)],
    )
    assert landing[0] / landing[1] == pytest.approx(flying[0] / flying[1])


@pytest.mark.parametrize("missing", ["wind_mph", "humidity_pct"])
def test_in_unknown_air_nothing_is_known_of_drops(plan: FarmArrays, missing: str) -> None:
    sky: dict[str, Any] = {missing: np.nan}
    found = drops(plan, **sky)
    assert all(np.isnan(d.goes_m) for d in found.drops)
    assert np.isnan(found.dries_up)
    # Where the deposit goes is told by the wind alone.
    assert all(np.isnan(share) == (missing == "wind_mph") for _, share in found.airborne)


def test_three_sizes_are_followed_and_two_distances_told(plan: FarmArrays) -> None:
    """100, 200 and 400 um; 10 and 50 m."""
    found = drops(plan)
    assert [d.diameter_m for d in found.drops] == [1e-4, 2e-4, 4e-4]
    assert [distance for distance, _ in found.airborne] == [10.0, 50.0]
    assert found.drops[2].lands
