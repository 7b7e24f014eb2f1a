"""What is stood of a deposit, and onto whom an air-blast throws."""

from typing import Any

import numpy as np
import pytest
import shapely

from tests.support.compass_farm import beside, compass_farm
from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.judgement import judge
from watcher.judge.neighbour_deposits import neighbour_deposits
from watcher.limits.catalogue import Limit
from watcher.limits.drift import stood, thrown_pairs
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.neighbours import no_spray_share
from watcher.limits.status import LimitState

NAN, INF = np.nan, np.inf


@pytest.mark.parametrize(
    ("deposit", "tolerance", "share"),
    [
        (1.0, 4.0, 0.25),
        (4.0, 4.0, 1.0),
        (0.0, 4.0, 0.0),
        (0.0, 0.0, 0.0),
        (0.1, 0.0, INF),
        (NAN, 4.0, NAN),
        (NAN, 0.0, NAN),
        (1.0, 0.5, 2.0),
    ],
)
def test_a_deposit_is_a_share_of_what_is_stood(
    deposit: float, tolerance: float, share: float
) -> None:
    found = stood(np.array([deposit]), np.array([tolerance]))
    np.testing.assert_array_equal(found, [share])


@pytest.mark.parametrize(("gap_m", "thrown"), [(29.9, True), (30.0, True), (30.1, False)])
def test_an_air_blast_throws_thirty_metres(gap_m: float, thrown: bool) -> None:
    config: dict[str, Any] = farm_tables()
    config["sprayers"]["boom"]["kind"] = "air-blast"
    plan = FarmArrays.of(build_farm(config))
    plan.reach.gap_m[:] = INF
    plan.reach.gap_m[0, 100] = gap_m
    assert thrown_pairs(plan)[0].tolist() == [thrown] * 3
    assert not thrown_pairs(plan)[1].any()


@pytest.mark.parametrize(
    ("gap", "need", "nearest", "known", "share"),
    [
        (10.0, 20.0, 10.0, True, 0.5),
        (20.0, 20.0, 20.0, True, 1.0),
        (INF, 20.0, 10.0, True, INF),
        (10.0, 0.0, 10.0, True, INF),
        (10.0, 0.0, 10.0, False, INF),
        (10.0, 20.0, 10.0, False, NAN),
        (25.0, 20.0, 20.0, False, 1.25),  # that far off on every side
    ],
)
def test_the_gap_as_a_share_of_the_no_spray_distance(
    gap: float, need: float, nearest: float, known: bool, share: float
) -> None:
    found = no_spray_share(
        np.array([[gap]]),
        need_m=np.array([need]),
        nearest_m=np.array([nearest]),
        known=np.array([known]),
    )
    np.testing.assert_array_equal(found, [[share]])


def deposits(told: dict[str, Any], **sky: Any) -> np.ndarray:
    """What the limit is held against: of W, S, C and K with every setup, in the first hour."""
    judgement = judge(FarmArrays.of(build_farm(told)), fair_weather(hours=3, **sky))
    found = next(c for c in judgement.checks if c.limit is Limit.DEPOSIT)
    return np.array(np.broadcast_to(found.value, judgement.instant.shape)[:, :, 0])


TO_THE_NORTH: dict[str, Any] = {"wind_from_deg": 180.0, "wind_mph": 5.0}


def test_of_the_neighbours_of_a_field_the_one_worst_off_is_judged() -> None:
    """Vines on both sides of the field and somebody in between who minds nothing."""
    stands = {"vines": "1 %", "near": "0.5 %", "upwind": "0.01 %"}
    entries: dict[str, Any] = {name: {"tolerable_deposit": t} for name, t in stands.items()}
    entries["barley"] = {"susceptibility": "tolerant"}
    north = (shapely.box(-200, 210, -80, 300), shapely.box(-70, 215, 70, 300))
    shapes = dict(zip(("vines", "near"), north, strict=True))
    shapes |= {"upwind": beside("S", 10.0), "barley": shapely.box(80, 203, 200, 300)}
    plan = FarmArrays.of(compass_farm(shapes, entries=entries))
    judgement = judge(plan, fair_weather(hours=2, **TO_THE_NORTH))
    found = next(c for c in judgement.checks if c.limit is Limit.DEPOSIT)
    each = {e.neighbour: e.share for e in neighbour_deposits(judgement, 0, 0, 0)}
    assert each["near"] > each["vines"] > each["upwind"] == each["barley"] == 0.0
    assert found.value[0, 0, 0] == pytest.approx(each["near"], rel=1e-6)


@pytest.mark.parametrize("missing", ["wind_from_deg", "wind_mph"])
def test_where_nobody_minds_nothing_hangs_on_the_wind_and_beside_one_who_does_all_of_it(
    missing: str,
) -> None:
    told = farm_tables()
    told["neighbours"]["vines_K"]["susceptibility"] = "tolerant"
    found = deposits(told, **{missing: np.nan})
    assert np.isnan(found[1]).all()  # S beside its vines
    assert (found[[0, 2, 3]] == 0.0).all()


@pytest.mark.parametrize("wind_from", [0.0, 180.0])
def test_an_air_blast_throws_at_those_who_mind_only(wind_from: float) -> None:
    """K's vines mind nothing, W and C have no neighbour; beside S nothing is known in any wind."""
    told = farm_tables()
    told["sprayers"]["boom"]["kind"] = "air-blast"
    told["neighbours"]["vines_K"]["susceptibility"] = "tolerant"
    found = deposits(told, wind_from_deg=wind_from)
    assert np.isnan(found[1]).all()
    assert (found[[0, 2, 3]] == 0.0).all()


@pytest.mark.parametrize(
    ("share", "stands"),
    [(1.02, LimitState.BROKEN), (0.98, LimitState.NEAR), (0.8, LimitState.HOLDS)],
)
def test_all_that_is_stood_may_land_and_no_more(share: float, stands: LimitState) -> None:
    told = farm_tables()
    tolerated = told["neighbours"]["vines_S"]
    tolerated["tolerable_deposit"] = "1 %"
    lands = float(deposits(told, **TO_THE_NORTH)[1, 0])
    tolerated["tolerable_deposit"] = f"{lands / share!r} %"
    judgement = judge(FarmArrays.of(build_farm(told)), fair_weather(hours=3, **TO_THE_NORTH))
    found = next(c for c in judgement.checks if c.limit is Limit.DEPOSIT)
    assert found.stand[1, 0, 0] == stands
