"""A job's sprayer as it was changed in the field, and what that leaves of the job."""

from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.farm.models import Adjuvant
from watcher.judge.changed_rig import ChangedRig, judge_rig, judged_as_changed
from watcher.judge.farm_judgement import judge_look
from watcher.judge.timeline import Timeline
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays

HOUR = 3600
NOW = 2


def plan(**changed: Any) -> FarmArrays:
    config = farm_tables() | changed
    config["sprayers"]["other"] = dict(config["sprayers"]["boom"])
    config["setups"]["other15"] = config["setups"]["fine15"] | {"sprayer": "other"}
    return FarmArrays.of(build_farm(config))


def look(**sky: Any) -> Timeline:
    series = fair_weather(hours=24, **sky)
    return Timeline(series, NOW, {}, wind_uncertainty_m_s=0.0)


def rig(**changed: Any) -> ChangedRig:
    return ChangedRig("S", "fine15", **changed)


def test_what_was_changed_is_of_the_jobs_sprayer_and_of_all_its_setups() -> None:
    as_is = plan()
    changed = rig(boom_height_m=0.4, speed_m_s=3.0).on(as_is, None)
    assert changed.boom_m.tolist() == [0.4, 0.4, 0.4, as_is.boom_m[3]]
    assert changed.speed_m_s.tolist() == [3.0, 3.0, 3.0, as_is.speed_m_s[3]]
    only_boom = rig(boom_height_m=0.4).on(as_is, None)
    assert only_boom.speed_m_s.tolist() == as_is.speed_m_s.tolist()


def test_a_retardant_is_in_the_tank_of_the_job_whatever_tips_it_goes_through() -> None:
    added = rig(adjuvant=Adjuvant.GUAR, additives=("agent",)).on(plan(), None)
    setups = added.farm.config.setups
    assert {name for name, s in setups.items() if s.adjuvant is Adjuvant.GUAR} == {
        "fine15",
        "coarse15",
        "coarse7",
    }
    assert setups["fine15"].additives[-1] == "agent"
    assert setups["other15"].additives == ()


@pytest.mark.parametrize(("now", "minutes"), [(1800, 20.0), (600, 0.0), (0, 0.0), (None, np.inf)])
def test_it_has_gone_round_since_it_was_added(now: int | None, minutes: float) -> None:
    added = rig(adjuvant=Adjuvant.POLYACRYLAMIDE, added_at=600)
    assert added.on(plan(), now).pumped_min == minutes
    assert rig().on(plan(), 1800).pumped_min == plan().pumped_min


def test_strips_move_the_neighbour_off_and_leave_less_to_spray() -> None:
    """20 m beside 400 m of vines are a twentieth of 16 ha."""
    as_is = plan()
    stripped = rig(strips={"vines_S": 20.0}).on(as_is, None)
    own = as_is.reach.pair_field == as_is.fields.index("S")
    np.testing.assert_array_equal(stripped.reach.gap_m[own], as_is.reach.gap_m[own] + 20.0)
    np.testing.assert_array_equal(stripped.reach.gap_m[~own], as_is.reach.gap_m[~own])
    assert stripped.left["S"] == pytest.approx(0.95, abs=2e-3)
    assert stripped.left.keys() == {"S"}


def test_of_two_depths_beside_one_neighbour_the_deeper_stays_unsprayed() -> None:
    as_is = plan()
    for strips, agreed, share in (
        ({"vines_S": 20.0}, {"vines_S": 40.0}, 0.1),
        ({"vines_S": 40.0}, {"vines_S": 20.0}, 0.1),
        ({}, {"vines_S": 20.0}, 0.05),
        ({"nobody": 20.0}, {}, 0.0),
    ):
        found = rig(strips=strips, agreed=agreed).unsprayed_share(as_is)
        assert found == pytest.approx(share, abs=3e-3)


def test_a_job_keeps_some_ground_however_much_is_left_out() -> None:
    as_is = plan().leaving({"S": 0.04})
    assert rig(strips={"vines_S": 20.0}).on(as_is, None).left["S"] == 1e-3
    assert rig(strips={"vines_S": 400.0}).on(plan(), None).left["S"] == 1e-3


@pytest.mark.parametrize(
    ("changed", "sprayed"),
    [
        ({"strips": {"vines_S": 20.0}}, 0.925),
        ({"strips": {"vines_S": 60.0}}, 0.85),
        ({"agreed": {"vines_S": 60.0}}, 0.85),
    ],
)
def test_a_strip_that_a_label_asks_for_whatever_the_wind_is_not_taken_off_twice(
    changed: dict[str, dict[str, float]], sprayed: float
) -> None:
    """40 m from the vines, 10 m of them road, are never in what is to be sprayed of 400 m."""
    config = farm_tables()
    buffer = {"protects": ["crop"], "base": "40 m", "sides": "all round", "inside": ["road"]}
    config["products"] = {"a": {"name": "A", "registration": "0-0", "buffers": [buffer]}}
    config["fields"]["S"] |= {"products": ["a"]}
    config["neighbours"]["vines_S"] |= {"kinds": ["crop"], "between": ["road"]}
    as_is = FarmArrays.of(build_farm(config))
    case, whole = (as_is.fields.index("S"), 0), as_is.farm.ground.area_m2("S")
    assert as_is.to_spray_m2[case] / whole == pytest.approx(0.925, abs=2e-3)
    found = rig(**changed).on(as_is, None).to_spray_m2[case] / whole
    assert found == pytest.approx(sprayed, abs=3e-3)


def test_a_farm_without_the_field_or_the_setup_is_judged_as_ever() -> None:
    sky = look()
    judgement = judge_look(plan(), sky)
    for field, setup in (("gone", "fine15"), ("S", "gone")):
        other = ChangedRig(field, setup, boom_height_m=0.3)
        assert not other.fits(judgement.plan)
        assert judged_as_changed(judgement, other, sky, NOW) is judgement
    assert rig().fits(judgement.plan)


def test_a_job_that_holds_by_the_retardant_alone_closes_when_it_is_worn() -> None:
    """What a fine spray leaves on the vines is just too much without a tenth less of it."""
    sky = look(wind_mph=4.5, wind_from_deg=180.0)
    bare = judge_look(plan(), sky)
    case = bare.plan.fields.index("S"), bare.plan.setups.index("fine15"), NOW
    share = next(c for c in bare.checks if c.limit is Limit.DEPOSIT).value[case]
    tolerance = 0.97 * float(share) * float(bare.plan.pair_tolerance_pct[0])
    config = plan(judging={"tolerable_deposit": {"susceptible": f"{tolerance} %"}})
    now = int(sky.series.times[NOW])
    fresh = rig(adjuvant=Adjuvant.POLYACRYLAMIDE, added_at=now)
    own = judge_rig(config, fresh, sky, NOW)
    assert own.closes[case[0], NOW] == now + HOUR
    assert own.instant[case] > judge_rig(config, rig(), sky, NOW).instant[case]
    bare_then = judge_rig(config, rig(), sky, NOW).instant[*case[:2], NOW + 1]
    assert own.instant[*case[:2], NOW + 1] == bare_then < own.instant[case]  # worn to the second
    assert judge_rig(plan(), fresh, sky, NOW).closes[case[0], NOW] == np.inf  # holds without it
    worn = rig(adjuvant=Adjuvant.POLYACRYLAMIDE, added_at=now - HOUR)
    assert judge_rig(config, worn, sky, NOW).closes[case[0], NOW] == np.inf
