"""What lands on each neighbour, and what would bring it under what that stands."""

from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.judgement import Judgement, judge
from watcher.judge.neighbour_deposits import (
    Mends,
    downwind_curve,
    mends,
    neighbour_deposits,
    swaths_to_leave,
)
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.drift import deposit_pct
from watcher.weather.spray_quality import SprayDrift

BOOM_M = 27.432


def case(field: str = "K", setup: str = "fine15", **sky: Any) -> tuple[Judgement, int, int]:
    config = farm_tables()
    config["setups"][setup] |= sky.pop("rig", {})
    config["judging"] = {"tolerable_deposit": {"susceptible": sky.pop("stands", "0.2 %")}}
    plan = FarmArrays.of(build_farm(config))
    series = fair_weather(hours=24, **{"wind_from_deg": 180.0, "wind_mph": 5.0} | sky)
    return judge(plan, series), plan.fields.index(field), plan.setups.index(setup)


def by_hand(judgement: Judgement, field: int, setup: int, moved_m: float = 0.0) -> Any:
    """The same by the curves alone, the field less so many swaths."""
    plan, series = judgement.plan, judgement.series
    (pair,) = np.flatnonzero(plan.reach.pair_field == field)
    return deposit_pct(
        gap_m=plan.reach.gap_m[pair] + moved_m,
        width_m=np.maximum(plan.reach.width_m[field] - moved_m, BOOM_M),
        wind_m_s=judgement.drift._wind_m_s[plan.kind[field], 0, 0],
        wind_from_deg=series.wind_from_deg[0],
        spread_deg=series.wind_spread_deg[0],
        boom_height_m=plan.boom_m[setup],
        speed_m_s=plan.speed_m_s[setup],
        spray=SprayDrift.of(droplets=int(plan.droplets[setup])),
    )


def test_what_lands_is_what_the_curves_say() -> None:
    judgement, field, setup = case()
    (found,) = neighbour_deposits(judgement, field, setup, 0)
    expected = by_hand(judgement, field, setup)
    assert found.neighbour == "vines_K"
    assert found.side == "N"
    assert found.gap_m == pytest.approx(10.0, abs=0.1)
    assert found.edge_pct == pytest.approx(float(expected.edge_pct), rel=1e-4)
    assert found.strip_pct == pytest.approx(float(expected.strip_pct), rel=1e-4)
    assert found.upper_pct == pytest.approx(float(expected.upper_pct), rel=1e-4)
    assert found.share == pytest.approx(found.upper_pct / 0.2)
    assert found.over == (found.share > 1.0)


@pytest.mark.parametrize("stands", ["0.3 %", "0.1 %", "0.05 %", "0.01 %"])
def test_no_more_swaths_are_left_than_it_takes(stands: str) -> None:
    judgement, field, setup = case(stands=stands)
    plan = judgement.plan
    (pair,) = np.flatnonzero(plan.reach.pair_field == field)
    found = swaths_to_leave(
        judgement,
        (field, setup, 0),
        gap_m=plan.reach.gap_m[[pair]],
        tolerance_pct=plan.pair_tolerance_pct[[pair]],
    )
    enough = [
        n
        for n in range(13)
        if float(by_hand(judgement, field, setup, n * BOOM_M).upper_pct)
        <= plan.pair_tolerance_pct[pair]
    ]
    assert found == (enough[0] if enough else None)


def test_winds_that_would_do_are_those_from_the_neighbours_side() -> None:
    judgement, field, setup = case(stands="0.01 %")
    found = mends(judgement, field, setup, 0)
    assert {"NW", "N", "NE"} <= set(found.wind_from)
    assert not {"SW", "S", "SE"} & set(found.wind_from)


def test_other_setups_that_would_do_come_by_what_control_they_lose() -> None:
    judgement, field, setup = case(stands="0.1 %")
    found = mends(judgement, field, setup, 0).setups
    assert "fine15" not in found
    losses = [judgement.plan.loss_pct[field, judgement.plan.setups.index(s)] for s in found]
    assert losses == sorted(losses)
    assert found[0] == "coarse15"


def test_without_a_direction_or_a_neighbour_who_minds_nothing_mends() -> None:
    for name, sky in (("K", {"wind_from_deg": np.nan}), ("C", {})):
        judgement, field, setup = case(name, **sky)
        assert mends(judgement, field, setup, 0) == Mends((), None, ())


def test_the_curve_downwind_falls_and_is_not_known_without_a_wind() -> None:
    judgement, field, setup = case()
    at = np.array([1.0, 10.0, 50.0])
    found = downwind_curve(judgement, field, setup, 0, at)
    assert np.all(np.diff(found.expected_pct) < 0)
    assert np.all(found.upper_pct >= found.expected_pct)
    blind, field, setup = case(wind_from_deg=np.nan)
    unknown = downwind_curve(blind, field, setup, 0, at)
    assert np.isnan([unknown.expected_pct, unknown.upper_pct]).all()


def of_kind(kind: str, **sky: Any) -> tuple[Judgement, int, int]:
    told = farm_tables()
    told["sprayers"]["boom"]["kind"] = kind
    plan = FarmArrays.of(build_farm(told))
    series = fair_weather(hours=2, **{"wind_mph": 5.0} | sky)
    return judge(plan, series), plan.fields.index("K"), plan.setups.index("fine15")


@pytest.mark.parametrize(
    ("kind", "wind_from", "lands"),
    [
        ("hand-held", 180.0, np.nan),
        ("hand-held", 0.0, 0.0),
        ("air-blast", 0.0, np.nan),  # the vines are ten metres off, and it throws thirty
    ],
)
def test_of_a_sprayer_without_curves_it_is_known_only_where_nothing_blows(
    kind: str, wind_from: float, lands: float
) -> None:
    judgement, field, setup = of_kind(kind, wind_from_deg=wind_from)
    (found,) = neighbour_deposits(judgement, field, setup, 0)
    assert not found.estimated
    for share in (found.edge_pct, found.strip_pct, found.upper_pct):
        assert share == pytest.approx(lands, nan_ok=True, abs=0.0)
    curve = downwind_curve(judgement, field, setup, 0, np.array([10.0]))
    assert np.isnan([curve.expected_pct, curve.upper_pct]).all()


@pytest.mark.parametrize(("wind_from", "swaths"), [(180.0, None), (0.0, 0)])
def test_no_strip_is_enough_for_what_no_curve_tells_of_unless_it_blows_away(
    wind_from: float, swaths: int | None
) -> None:
    judgement, field, setup = of_kind("hand-held", wind_from_deg=wind_from)
    plan = judgement.plan
    (pair,) = np.flatnonzero(plan.reach.pair_field == field)
    found = swaths_to_leave(
        judgement,
        (field, setup, 0),
        gap_m=plan.reach.gap_m[[pair]],
        tolerance_pct=plan.pair_tolerance_pct[[pair]],
    )
    assert found == swaths
