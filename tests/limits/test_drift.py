"""What is stood of a deposit, and onto whom an air-blast throws."""

from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, farm_tables
from watcher.limits.drift import stood, thrown_pairs
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.neighbours import no_spray_share

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
