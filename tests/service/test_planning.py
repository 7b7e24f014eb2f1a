"""What may be planned on a farm: starts from now, sprayers that are busy, what a step costs."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.judge.chances import Chances, FarmChances
from watcher.judge.changed_rig import ChangedRig
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.planning.day_plan import DayPlan, PlanStep
from watcher.service.planning import Busy, planner, with_details

HOUR, MINUTE = 3600, 60
PRODUCTS = {
    name: {"name": f"Invented {name}", "registration": "0000-0"} for name in ("one", "another")
}


def arrays(**fields: dict[str, Any]) -> FarmArrays:
    """A farm of one sprayer whose fields may have further keys."""
    config = tables()
    config["sprayers"]["boom"]["tips"] = ["fine", "coarse"]
    config["fields"] = {
        name: entry | {"setups": ["coarse"]} | fields.get(name, {})
        for name, entry in config["fields"].items()
    }
    return FarmArrays.of(build(config | {"products": PRODUCTS}))


def chances(plan: FarmArrays, held: float = 0.8, *, at: int = MORNING) -> FarmChances:
    """Chances of every half hour of a day, alike for all."""
    starts = np.concatenate([[at], at + HOUR / 2 * np.arange(1, 24)]).astype(np.int64)
    shape = (len(plan.fields), len(plan.setups), starts.size)
    part = Chances(
        plan.fields,
        plan.setups,
        starts,
        plan.duration_s,
        np.where(plan.allowed[:, :, None], np.full(shape, held), 0.0),
        np.full(shape, held),
        np.full(shape, tuple(Limit).index(Limit.GUST), np.int8),
        np.zeros(starts.size, np.int64),
    )
    return FarmChances(at, (part,))


def plan_at(plan: FarmArrays, now: int, of: FarmChances, *busy: Busy, **sky: float) -> DayPlan:
    judgement, _ = judged(plan, look := timeline(now, **sky))
    found = planner(judgement, look.now_index, of, done=(), busy=busy)
    assert found is not None
    return with_details(plan, of, found.plan(), busy)


@pytest.mark.parametrize("after", [0, 10 * MINUTE, 40 * MINUTE])
def test_a_plan_begins_now_whenever_the_chances_were_worked_out(after: int) -> None:
    plan = arrays()
    found = plan_at(plan, MORNING + after, chances(plan))
    first, second = found.steps
    assert first.starts_at == MORNING + after
    # 2 km as the crow flies, by 1.4, at 15 mph: 7 min from the end of one to the next half hour.
    assert second.change_s == pytest.approx(2000 * 1.4 / 6.7056, rel=0.02)
    assert second.starts_at >= first.ends_at + second.change_s
    assert first.ended_by is Limit.GUST


@pytest.mark.parametrize("sky", [{"gust_mph": 19.0}, {"wind_mph": np.nan, "gust_mph": np.nan}])
def test_a_field_that_is_not_open_now_is_never_planned_for_now(sky: dict[str, float]) -> None:
    plan = arrays()
    found = plan_at(plan, MORNING + 60, chances(plan), **sky)
    assert found.steps
    assert all(step.starts_at > MORNING + 60 for step in found.steps)


def test_chances_that_are_old_make_no_plan() -> None:
    plan = arrays()
    judgement, _ = judged(plan, look := timeline(MORNING + 3 * HOUR))
    assert planner(judgement, look.now_index, chances(plan), done=()) is None


def test_a_sprayer_in_a_job_is_free_after_it_and_the_way_from_it() -> None:
    plan = arrays()
    busy = Busy("boom", "hill", MORNING + HOUR, "coarse")
    (step,) = plan_at(plan, MORNING, chances(plan), busy).steps
    assert step.field == "creek_side"
    assert step.starts_at == MORNING + HOUR + 30 * MINUTE  # the next half hour after the way


def test_what_must_not_meet_is_rinsed_out_and_other_tips_are_a_stop() -> None:
    plan = arrays(hill={"products": ["one"]}, creek_side={"products": ["another"], "setups": []})
    steps = tuple(
        PlanStep("boom", field, setup, MORNING + n * HOUR, MORNING + (n + 1) * HOUR, 0.8, 2400.0)
        for n, (field, setup) in enumerate(
            [("hill", "coarse"), ("creek_side", "fine"), ("creek_side", "fine")]
        )
    )
    found = with_details(plan, chances(plan), DayPlan(MORNING, steps, 1.0, {})).steps
    assert [step.cleans_out for step in found] == [False, True, False]
    assert [step.tips_s for step in found] == [0.0, 300.0, 0.0]
    assert found[0].area_m2 == pytest.approx(160_000, rel=0.002)
    busy = Busy("boom", "creek_side", MORNING, "fine")
    after = with_details(plan, chances(plan), DayPlan(MORNING, steps[:1], 1.0, {}), (busy,)).steps
    assert (after[0].cleans_out, after[0].tips_s) == (True, 300.0)


def test_of_a_field_sprayed_in_part_the_rest_is_carried() -> None:
    plan = arrays().leaving({"hill": 0.25})
    steps = (PlanStep("boom", "hill", "coarse", MORNING, MORNING + HOUR, 0.8, 0.0),)
    (found,) = with_details(plan, chances(plan), DayPlan(MORNING, steps, 1.0, {})).steps
    assert found.area_m2 == pytest.approx(40_000, rel=0.002)


def beside_orchard(buffer: dict[str, Any]) -> FarmArrays:
    """The orchard lies 10 m north of creek side, 400 m along all of its side."""
    config = tables()
    config["neighbours"]["orchard"]["kinds"] = ["orchard"]
    config["windows"]["contact"]["buffers"] = [{"protects": ["orchard"]} | buffer]
    return FarmArrays.of(build(config))


@pytest.mark.parametrize(
    ("buffer", "depth_m"),
    [
        ({"base": "50 m", "sides": "all round"}, 50.0),
        ({"base": "80 m", "other_sides": "40 m"}, 40.0),
        ({"base": "80 m"}, 0.0),  # whether it is left hangs on the wind
        ({"base": "600 m", "sides": "all round"}, 0.0),  # all of it: the field is not open
    ],
)
def test_a_strip_that_stays_unsprayed_in_any_wind_shortens_a_step_and_its_loads(
    buffer: dict[str, Any], depth_m: float
) -> None:
    plan = beside_orchard(buffer)
    f, s = plan.fields.index("creek_side"), plan.setups.index("coarse")
    share = 1.0 - depth_m / 400.0
    steps = (PlanStep("boom", "creek_side", "coarse", MORNING, MORNING + HOUR, 0.8, 0.0),)
    (step,) = with_details(plan, chances(plan), DayPlan(MORNING, steps, 1.0, {})).steps
    assert step.area_m2 == pytest.approx(share * 160_000, rel=0.01)
    without = FarmArrays.of(build(tables())).duration_s[f, s]
    assert plan.duration_s[f, s] <= without
    assert (plan.duration_s[f, s] < without) == (share < 1.0)
    rest = plan.leaving({"creek_side": 0.5})
    assert rest.to_spray_m2[f, s] == pytest.approx(0.5 * plan.to_spray_m2[f, s])


@pytest.mark.parametrize(("agreed_m", "left_m"), [(0.0, 40.0), (40.0, 40.0), (70.0, 70.0)])
def test_a_strip_of_any_wind_is_taken_off_once_where_it_was_agreed_to(
    agreed_m: float, left_m: float
) -> None:
    plan = beside_orchard({"base": "80 m", "other_sides": "40 m"})
    rig = ChangedRig("creek_side", "coarse", agreed={"orchard": agreed_m})
    f, s = plan.fields.index("creek_side"), plan.setups.index("coarse")
    share = 1.0 - left_m / 400.0
    assert rig.on(plan, None).to_spray_m2[f, s] == pytest.approx(share * 160_000, rel=0.01)


def in_part(plan: FarmArrays, held: float, half: float) -> FarmChances:
    bare = chances(plan, held)
    [part] = bare.parts
    return replace(
        bare, parts=(replace(part, half=np.where(plan.allowed[:, :, None], half, 0.0 * part.half)),)
    )


@pytest.mark.parametrize(
    ("held", "half", "part"),
    [(0.8, 0.9, 1.0), (0.3, 0.9, 0.5), (0.0, 0.9, 0.5), (np.nan, 0.9, None), (0.0, 0.1, None)],
)
def test_half_of_a_field_is_planned_where_the_whole_does_not_hold(
    held: float, half: float, part: float | None
) -> None:
    plan = arrays(hill={"may_be_split": True}, creek_side={"left_out": True})
    found = plan_at(plan, MORNING + 3600, in_part(plan, held, half))
    step = next((step for step in found.steps if step.field == "hill"), None)
    if part is None:
        assert step is None
        return
    assert step is not None
    assert step.part == part
    assert step.chance == (held if part == 1.0 else half)
    assert step.area_m2 == pytest.approx(part * 160_000, rel=0.01)
    lasts = part * plan.duration_s[plan.fields.index("hill"), plan.setups.index(step.setup)]
    assert step.ends_at - step.starts_at == pytest.approx(lasts, abs=1)


def test_a_field_that_may_not_be_split_is_planned_whole_or_not_at_all() -> None:
    plan = arrays()
    assert plan_at(plan, MORNING + 3600, in_part(plan, 0.0, 0.9)).steps == ()


@pytest.mark.parametrize("sky", [{"gust_mph": 19.0}, {"wind_mph": np.nan, "gust_mph": np.nan}])
def test_half_a_field_that_is_not_open_now_is_not_planned_for_now(sky: dict[str, float]) -> None:
    plan = arrays(hill={"may_be_split": True})
    found = plan_at(plan, MORNING + 60, in_part(plan, 0.0, 0.9), **sky)
    assert all(step.starts_at > MORNING + 60 for step in found.steps)
