"""Kinds of sprayers: own rules, and no drift estimate where the published curves do not hold.

The curves are of ground booms over field crops (Rautmann et al. 2001: basic drift values).
"""

from datetime import date
from typing import Any

import numpy as np
import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from tests.support.worked_farm import fair_weather
from watcher.charts.deposit import _against
from watcher.farm.models import SprayerKind
from watcher.judge.can_open import shut_fields
from watcher.judge.judgement import Judgement, judge
from watcher.judge.neighbour_deposits import mends, neighbour_deposits
from watcher.judge.reasons import Reason, reasons
from watcher.judge.setup_advice import advise_on
from watcher.judge.setup_choice import choose_setup
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.messages.drift import exposed_line
from watcher.messages.reasons import Speaker
from watcher.messages.setups import setup_lines
from watcher.service.farm_check import estimate_notes
from watcher.web.svg.reach import spray_reach

ONTO, AWAY = 180.0, 0.0
"""Wind from the south blows to the orchard north of the field, 33 ft off."""
DAY = date(2026, 6, 10)
KINDS = list(SprayerKind)
NO_CURVE = [SprayerKind.HAND_HELD, SprayerKind.AIR_BLAST]


def config(kind: str, **more: Any) -> dict[str, Any]:
    """The invented farm; the old boom is a sprayer of that kind, and may go anywhere."""
    farm = tables()
    farm["sprayers"]["old_boom"] |= {
        "kind": kind, "speed": "3 mph", "boom_width": "12 ft", "tank": "100 gal"
    }  # fmt: skip
    farm |= more
    return farm


def judged(farm: dict[str, Any], wind_from: float) -> Judgement:
    return judge(FarmArrays.of(build(farm)), fair_weather(wind_from_deg=wind_from))


def drift(judgement: Judgement, setup: str = "old_coarse") -> Reason:
    plan = judgement.plan
    case = plan.fields.index("creek_side"), plan.setups.index(setup), 0
    return next(r for r in reasons(judgement, *case) if r.limit is Limit.DEPOSIT)


@pytest.mark.parametrize("kind", NO_CURVE)
def test_without_a_curve_a_neighbour_downwind_is_never_passed(kind: SprayerKind) -> None:
    judgement = judged(config(kind), ONTO)
    reason = drift(judgement)
    assert reason.stand is LimitState.UNKNOWN
    assert np.isnan(reason.value)
    plan = judgement.plan
    case = plan.fields.index("creek_side"), plan.setups.index("old_coarse"), 0
    assert judgement.instant[case] <= Status.UNKNOWN
    assert english(Speaker(plan.farm).reason("creek_side", reason)) == (
        "drift onto orchard to the N, 33 ft: not estimated, as published curves are of booms; it "
        "stands 0.1% (our default)"
    )
    assert reason.missing == ()


def test_by_hand_a_wind_away_from_the_neighbour_leaves_nothing_to_estimate() -> None:
    assert drift(judged(config("hand-held"), AWAY)).stand is LimitState.HOLDS


def test_an_air_blast_throws_at_a_near_neighbour_in_any_wind() -> None:
    assert drift(judged(config("air-blast"), AWAY)).stand is LimitState.UNKNOWN


@pytest.mark.parametrize("kind", NO_CURVE)
def test_without_a_neighbour_who_minds_nothing_is_unknown(kind: SprayerKind) -> None:
    farm = config(kind)
    farm["neighbours"]["orchard"]["susceptibility"] = "tolerant"
    judgement = judged(farm, ONTO)
    assert not any(c.limit is Limit.DEPOSIT for c in judgement.checks)


def test_an_unknown_direction_is_unknown_for_every_kind() -> None:
    for kind in KINDS:
        assert drift(judged(config(kind), float("nan"))).stand is LimitState.UNKNOWN


def test_a_hood_is_judged_as_an_open_boom_and_that_is_said() -> None:
    hooded, boom = (judged(config(kind), ONTO) for kind in ("hooded boom", "boom"))
    assert drift(hooded).value == drift(boom).value
    case = hooded.plan.fields.index("creek_side"), hooded.plan.setups.index("old_coarse"), 0
    lines = [
        english(line) for line in setup_lines(Speaker(hooded.plan.farm), advise_on(hooded, *case))
    ]
    assert any(line.startswith("The hood is not counted in that") for line in lines)
    spoken = english(Speaker(hooded.plan.farm).reason("creek_side", drift(hooded)))
    assert spoken.endswith("; estimated as from an open boom, the hood is not counted")
    assert "hood" not in english(Speaker(boom.plan.farm).reason("creek_side", drift(boom)))
    [worst] = neighbour_deposits(hooded, *case)
    assert english(exposed_line(worst, "us")).endswith(
        "; estimated as from an open boom, the hood is not counted"
    )
    assert "hood not counted" in _against(worst)
    assert spray_reach(hooded, case).as_open_boom
    assert not spray_reach(boom, case).as_open_boom
    [note] = estimate_notes(hooded.plan.farm)
    assert english(note).startswith("setup old_coarse: its drift is estimated as from an open boom")
    assert [*estimate_notes(boom.plan.farm)] == []


def test_a_hood_that_was_tested_counts_as_tested() -> None:
    farm = config("hooded boom")
    farm["setups"]["old_coarse"]["drift_reduction"] = "80 %"
    tested = judged(farm, ONTO)
    assert drift(tested).value < drift(judged(config("hooded boom"), ONTO)).value
    assert "hood" not in english(Speaker(tested.plan.farm).reason("creek_side", drift(tested)))
    assert [*estimate_notes(tested.plan.farm)] == []


@pytest.mark.parametrize("kind", KINDS)
def test_the_other_sprayer_is_judged_as_ever(kind: SprayerKind) -> None:
    assert (
        drift(judged(config(kind), ONTO), "coarse").value
        == drift(judged(config("boom"), ONTO), "coarse").value
    )


@pytest.mark.parametrize("kind", NO_CURVE)
def test_a_setup_without_an_estimate_is_not_called_the_one_that_drifts_least(kind) -> None:
    farm = config(kind)
    farm["neighbours"]["orchard"]["susceptibility"] = "tolerant"
    judgement = judged(farm, ONTO)
    plan = judgement.plan
    chosen = choose_setup(judgement, plan.fields.index("creek_side"), 0)
    assert plan.setups[chosen] != "old_coarse"


@pytest.mark.parametrize("kind", NO_CURVE)
def test_advice_says_that_nothing_is_estimated_and_what_would_help(kind: SprayerKind) -> None:
    judgement = judged(config(kind), ONTO)
    plan = judgement.plan
    case = plan.fields.index("creek_side"), plan.setups.index("old_coarse"), 0
    [worst] = neighbour_deposits(judgement, *case)
    assert not worst.estimated
    assert "not estimated, the published curves are of ground booms" in english(
        exposed_line(worst, "us")
    )
    lines = [english(line) for line in setup_lines(Speaker(plan.farm), advise_on(judgement, *case))]
    assert any(line.startswith("Drift is not estimated for this kind of sprayer") for line in lines)
    assert not any(line.startswith("Each nozzle must give") for line in lines)
    found = mends(judgement, *case)
    assert found.leave_swaths is None
    assert ("N" in found.wind_from) == (kind is SprayerKind.HAND_HELD)


def test_a_field_by_hand_beside_an_orchard_can_still_open() -> None:
    farm = config("hand-held")
    farm["fields"]["creek_side"]["setups"] = ["old_coarse"]
    plan = FarmArrays.of(build(farm))
    assert "creek_side" not in {s.field for s in shut_fields(plan, DAY)}


def test_a_field_by_air_blast_beside_an_orchard_is_told_as_shut() -> None:
    farm = config("air-blast")
    farm["fields"]["creek_side"]["setups"] = ["old_coarse"]
    plan = FarmArrays.of(build(farm))
    [shut] = [s for s in shut_fields(plan, DAY) if s.field == "creek_side"]
    assert Limit.DEPOSIT in {reason.limit for reason in shut.by}


RULES = [
    {"kind": "droplets", "finest": "very coarse", "sprayers": ["boom"]},
    {"kind": "carrier", "least": "40 gal/acre", "sprayers": ["boom", "hooded boom"]},
    {"kind": "speed", "most": "1 mph", "sprayers": ["boom"]},
    {"kind": "boom height", "most": "10 in", "sprayers": ["boom"]},
]


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("kind", ["air-blast", "hand-held"])
def test_a_rule_of_booms_says_nothing_of_other_sprayers(kind: str, rule: dict[str, Any]) -> None:
    farm = config(kind)
    farm["windows"]["contact"]["rules"] = [rule]
    judgement = judged(farm, ONTO)
    plan = judgement.plan
    for setup, stands in (("old_coarse", LimitState.HOLDS), ("coarse", LimitState.BROKEN)):
        case = plan.fields.index("hill"), plan.setups.index(setup), 0
        found = [r for r in reasons(judgement, *case) if r.limit is Limit.EQUIPMENT]
        assert [r.stand for r in found] == [stands] or (
            stands is LimitState.HOLDS and (not found or found[0].stand is stands)
        )


def test_a_wind_of_one_kind_of_sprayer_binds_that_kind_only() -> None:
    farm = config("air-blast")
    rule = {"kind": "wind", "high": "4 mph", "height": "boom", "gusts": "not counted"}
    farm["windows"]["contact"]["rules"] = [rule | {"sprayers": ["air-blast"]}]
    judgement = judged(farm, ONTO)
    plan = judgement.plan
    stands = {}
    for setup in ("old_coarse", "coarse"):
        case = plan.fields.index("hill"), plan.setups.index(setup), 0
        stands[setup] = next(r for r in reasons(judgement, *case) if r.limit is Limit.WIND).stand
    assert stands == {"old_coarse": LimitState.BROKEN, "coarse": LimitState.HOLDS}


def test_a_buffer_of_air_blasts_leaves_no_strip_to_a_boom() -> None:
    farm = config("air-blast")
    farm["neighbours"]["orchard"]["kinds"] = ["crop"]
    buffer = {
        "protects": ["crop"],
        "base": "160 ft",
        "sprayers": ["air-blast"],
        "inside": "anything",
    }
    farm["windows"]["contact"]["buffers"] = [buffer]
    plan = FarmArrays.of(build(farm))
    depth = dict(zip(plan.setups, plan.buffers.downwind_m[0], strict=True))
    assert depth["coarse"] == 0.0
    assert depth["old_coarse"] > 30.0
