"""The rule on winds towards neighbours: every rule in every wind, from what the house asks."""

from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.judgement import judge
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.neighbours import direction_stand
from watcher.limits.status import Band, LimitState

BROKEN, UNKNOWN, NEAR, HOLDS = (
    LimitState.BROKEN,
    LimitState.UNKNOWN,
    LimitState.NEAR,
    LimitState.HOLDS,
)
BANDS = [Band.UNKNOWN, Band.STILL, Band.CALM, Band.MARGINAL, Band.WINDY]
ANY, CALM, NEVER = "any wind in the window", "calm wind only", "never"


def farm_with(kind: str, rule: str) -> FarmArrays:
    """The vines north of S are so susceptible, and this wind towards them is allowed."""
    told = farm_tables()
    told["neighbours"]["vines_S"]["susceptibility"] = kind
    told["windows"]["contact"]["neighbours"] = {kind.replace(" ", "_"): rule}
    told["judging"] = {"reach": "60 m"}
    return FarmArrays.of(build_farm(told))


def stands(plan: FarmArrays, *, downwind: bool, known: bool) -> list[LimitState]:
    """How the rule stands for S in each band of wind."""
    found = direction_stand(
        plan,
        np.array([0]),
        downwind=np.array([[downwind]]),
        known=np.array([known]),
        band=np.array(BANDS, dtype=np.int8).reshape(1, -1, 1),
    )
    return [LimitState(int(one)) for one in found[0, :, 0]]


@pytest.mark.parametrize(
    ("kind", "rule", "where", "states"),
    # Where the wind goes, and how it stands with the wind unknown, still, calm, marginal, windy.
    [
        ("susceptible", ANY, "there", [HOLDS] * 5),
        ("susceptible", ANY, "nobody knows", [HOLDS] * 5),
        ("susceptible", CALM, "there", [UNKNOWN, BROKEN, NEAR, BROKEN, BROKEN]),
        ("susceptible", CALM, "elsewhere", [HOLDS] * 5),
        ("susceptible", CALM, "nobody knows", [UNKNOWN] * 5),
        ("susceptible", NEVER, "there", [BROKEN] * 5),
        ("susceptible", NEVER, "elsewhere", [HOLDS] * 5),
        ("susceptible", NEVER, "nobody knows", [UNKNOWN] * 5),
        # Only calm air will do beside it, whichever way it moves.
        ("very susceptible", ANY, "there", [UNKNOWN, BROKEN, HOLDS, BROKEN, BROKEN]),
        ("very susceptible", CALM, "there", [UNKNOWN, BROKEN, NEAR, BROKEN, BROKEN]),
        ("very susceptible", CALM, "elsewhere", [UNKNOWN, BROKEN, HOLDS, BROKEN, BROKEN]),
        ("very susceptible", CALM, "nobody knows", [UNKNOWN, BROKEN, UNKNOWN, BROKEN, BROKEN]),
        ("very susceptible", NEVER, "there", [BROKEN] * 5),
        ("very susceptible", NEVER, "elsewhere", [UNKNOWN, BROKEN, HOLDS, BROKEN, BROKEN]),
    ],
)
def test_a_rule_on_winds_towards_a_neighbour(
    kind: str, rule: str, where: str, states: list[LimitState]
) -> None:
    found = stands(farm_with(kind, rule), downwind=where == "there", known=where != "nobody knows")
    assert found == states


@pytest.mark.parametrize(("gap_m", "asks"), [(60.0, True), (60.1, False)])
@pytest.mark.parametrize("kind", ["susceptible", "very susceptible"])
def test_a_neighbour_further_off_than_the_reach_asks_for_nothing(
    kind: str, gap_m: float, asks: bool
) -> None:
    plan = farm_with(kind, CALM)
    plan.reach.gap_m[0] = gap_m
    assert (stands(plan, downwind=False, known=False) != [HOLDS] * 5) == asks


def test_of_a_field_the_neighbour_worst_off_counts_and_a_field_without_one_is_free() -> None:
    told: dict[str, Any] = farm_tables()
    sky = fair_weather(hours=2, wind_mph=9.0, wind_from_deg=180.0)
    judgement = judge(FarmArrays.of(build_farm(told)), sky)
    found = next(c for c in judgement.checks if c.limit is Limit.NEIGHBOUR)
    stand = np.broadcast_to(found.stand, judgement.instant.shape)[:, 0, 0]
    assert stand.tolist() == [HOLDS, BROKEN, HOLDS, BROKEN]  # W, S, C, K
    gap = np.broadcast_to(found.value, judgement.instant.shape)[:, 0, 0]
    assert gap == pytest.approx([np.inf, 10.0, np.inf, 10.0], abs=0.1)
