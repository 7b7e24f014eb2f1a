"""Laws of the deposit as it is judged, from the farm file to the limit."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.compass_farm import beside, compass_farm
from tests.support.worked_farm import fair_weather, farm_tables
from watcher.farm.models import NozzleKind
from watcher.judge.judgement import Judgement, judge
from watcher.judge.neighbour_deposits import downwind_curve, neighbour_deposits
from watcher.limits.catalogue import Limit
from watcher.limits.drift import stood
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.weather.series import Floats

law = settings(max_examples=40, deadline=None)
PLAN = FarmArrays.of(compass_farm({"vines": beside("N", 10.0)}))
WIND = st.floats(0.1, 20.0)
FROM = st.floats(0.0, 359.9)
SPREAD = st.floats(1.0, 40.0)


def judged(plan: FarmArrays = PLAN, **sky: Any) -> Judgement:
    return judge(plan, fair_weather(hours=2, **sky))


def shares(judgement: Judgement) -> Floats:
    """The judged share of what the worst neighbour stands. [S]"""
    checked = next(c for c in judgement.checks if c.limit is Limit.DEPOSIT)
    return np.asarray(np.broadcast_to(checked.value, judgement.instant.shape)[0, :, 0])


@law
@given(WIND, WIND, FROM, SPREAD)
def test_more_wind_never_lowers_the_exposure(
    one: float, other: float, wind_from: float, spread: float
) -> None:
    sky = {"wind_from_deg": wind_from, "wind_spread_deg": spread}
    less, more = (shares(judged(wind_mph=w, **sky)) for w in sorted([one, other]))
    assert np.all(more >= less)


@law
@given(st.floats(0.2, 1.5), st.floats(0.2, 1.5), WIND)
def test_a_higher_boom_never_lowers_the_exposure(one: float, other: float, mph: float) -> None:
    def at(height_m: float) -> Floats:
        sprayers = farm_tables()["sprayers"]
        sprayers["boom"]["boom_height"] = f"{height_m} m"
        farm = compass_farm({"vines": beside("N", 10.0)}, tables={"sprayers": sprayers})
        return shares(judged(FarmArrays.of(farm), wind_mph=mph, wind_from_deg=180.0))

    low, high = (at(height) for height in sorted([one, other]))
    assert np.all(high >= low)


@law
@given(FROM, SPREAD, WIND)
def test_nozzles_that_make_finer_drops_never_lower_the_exposure(
    wind_from: float, spread: float, mph: float
) -> None:
    # Finest to coarsest at one flow: flat fan, pre-orifice, air induction (common practice).
    found = shares(judged(BY_KIND, wind_mph=mph, wind_from_deg=wind_from, wind_spread_deg=spread))
    assert np.all(np.diff(found) <= 0)


def _by_kind() -> FarmArrays:
    base = farm_tables()["setups"]["fine15"]
    kinds = [
        (NozzleKind.FLAT_FAN, "fine"),
        (NozzleKind.PRE_ORIFICE, "medium"),
        (NozzleKind.AIR_INDUCTION, "coarse"),
    ]
    setups = {k.name.lower(): base | {"nozzle": k.value, "droplets": d} for k, d in kinds}
    return FarmArrays.of(compass_farm({"vines": beside("N", 10.0)}, tables={"setups": setups}))


BY_KIND = _by_kind()


@law
@given(st.floats(0.0, 95.0), st.floats(0.0, 95.0), FROM, SPREAD)
def test_a_nearer_neighbour_never_lowers_the_exposure(
    one: float, other: float, wind_from: float, spread: float
) -> None:
    def at(gap_m: float) -> Floats:
        plan = FarmArrays.of(compass_farm({"vines": beside("N", gap_m)}))
        return shares(judged(plan, wind_from_deg=wind_from, wind_spread_deg=spread))

    near, far = (at(gap) for gap in sorted([one, other]))
    # Bearings are whole degrees and tables single precision.
    assert np.all(near >= far * (1 - 1e-5) - 1e-9)


@law
@given(st.floats(0, 180), st.floats(0, 180), st.sampled_from([-1, 1]), SPREAD)
def test_turning_the_wind_away_never_raises_the_exposure(
    one: float, other: float, way: int, spread: float
) -> None:
    facing, away = (
        shares(judged(wind_from_deg=(180.0 + way * turn) % 360.0, wind_spread_deg=spread))
        for turn in sorted([one, other])
    )
    # The worst mean direction is looked for in steps, a quarter of the spread each.
    assert np.all(away <= facing * 1.01 + 1e-6)


def test_the_case_that_is_explained_is_the_one_that_is_judged() -> None:
    judgement = judged(wind_from_deg=195.0, wind_mph=8.0)
    for setup in range(3):
        worst = neighbour_deposits(judgement, 0, setup, 0)[0]
        assert worst.share == pytest.approx(shares(judgement)[setup], rel=1e-5)


def test_a_neighbour_that_stands_nothing_is_closed_by_anything_and_open_to_nothing() -> None:
    farm = compass_farm(
        {"vines": beside("N", 10.0)}, entries={"vines": {"tolerable_deposit": "0 %"}}
    )
    plan = FarmArrays.of(farm)
    away, toward = (judged(plan, wind_from_deg=w, wind_mph=4.0) for w in (0.0, 180.0))
    assert np.all(shares(away) == 0.0)
    assert np.all(np.isinf(shares(toward)))
    assert neighbour_deposits(toward, 0, 0, 0)[0].over
    checked = next(c for c in toward.checks if c.limit is Limit.DEPOSIT)
    assert np.all(checked.stand == LimitState.BROKEN)


@pytest.mark.parametrize(
    ("deposit", "tolerance", "share"),
    [(0.05, 0.1, 0.5), (0.0, 0.0, 0.0), (1e-9, 0.0, np.inf), (5.0, np.inf, 0.0)],
)
def test_a_share_of_what_is_stood(deposit: float, tolerance: float, share: float) -> None:
    assert stood(np.asarray(deposit), np.asarray(tolerance)) == pytest.approx(share)


@pytest.mark.parametrize("tolerance", [0.0, 0.1])
def test_an_unknown_deposit_is_an_unknown_share(tolerance: float) -> None:
    assert np.isnan(stood(np.asarray(np.nan), np.asarray(tolerance)))


def test_the_curve_downwind_is_the_published_one_in_the_trials_conditions() -> None:
    # 5 m/s 3 m above the canopy, boom at 0.5 m, 8 km/h, no reduction: JKI / FOCUS, one application.
    sprayers, setups = farm_tables()["sprayers"], farm_tables()["setups"]
    sprayers["boom"] |= {"boom_height": "0.5 m", "speed": "8 km/h"}
    setups["fine15"]["drift_reduction"] = "0 %"
    plan = FarmArrays.of(compass_farm({}, tables={"sprayers": sprayers, "setups": setups}))
    fair = fair_weather(hours=2, wind_mph=5.0 / 0.44704)
    series = replace(fair, site=replace(fair.site, wind_height_m=3.12))
    curve = downwind_curve(judge(plan, series), 0, 0, 0, np.array([1.0, 3.0, 5.0, 10.0, 50.0]))
    assert curve.upper_pct == pytest.approx([2.7593, 0.9425, 0.5719, 0.2904, 0.0602], rel=1e-3)
    assert np.all(curve.expected_pct < curve.upper_pct)


def test_without_a_direction_there_is_no_curve() -> None:
    curve = downwind_curve(judged(wind_from_deg=np.nan), 0, 0, 0, np.array([1.0, 10.0]))
    assert np.isnan(curve.upper_pct).all()
    assert np.isnan(curve.expected_pct).all()
