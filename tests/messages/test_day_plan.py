"""The plan of the day as it is read: briefs, loads, whether it still stands, what it leaves out."""

from dataclasses import replace

import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.i18n.language import ENGLISH
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.brief import morning_brief
from watcher.messages.day_plan import before, expected, load_lines, loses, plan_status, refusal
from watcher.messages.evening import evening_look_ahead
from watcher.messages.reasons import Speaker
from watcher.planning.day_plan import DayPlan, NotPlanned, PlanLoss, PlanStep, Wish
from watcher.planning.kept_plan import Basis, KeptPlan, PlanChanged, PlanNow, RefusedWish

HOUR = 3600
RATED = {"name": "Invented", "registration": "0000-0", "rate": "22 fl oz/acre"}
FIELDS = {
    name: entry | {"products": ["rated", "unrated"]} for name, entry in tables()["fields"].items()
}
FARM = build(
    tables()
    | {
        "products": {"rated": RATED, "unrated": {k: RATED[k] for k in ("name", "registration")}},
        "fields": FIELDS,
    }
)
PLAN, SPEAKER = FarmArrays.of(FARM), Speaker(FARM)
ACRE_M2 = 4046.8564224


def step(field: str, starts_at: int, acres: float = 40.0, **more: object) -> PlanStep:
    area_m2 = acres * ACRE_M2
    return PlanStep(
        "boom", field, "coarse", starts_at, starts_at + 2580, 0.7, 0.0, area_m2=area_m2, **more
    )


def plan(*steps: PlanStep, now: int = MORNING, **left_out: NotPlanned) -> PlanNow:
    made = DayPlan(now, steps, 1.0, left_out)
    return PlanNow(KeptPlan(made, Basis((), (), (), 0, "")), now)


def brief(of: PlanNow, **sky: float) -> tuple[str, tuple[str, ...]]:
    look = timeline(**sky)
    judgement, ranking = judged(PLAN, look)
    text = english(morning_brief(SPEAKER, judgement, ranking, look, due_at=MORNING, plan=of))
    return text.title, text.lines


def test_the_morning_brief_is_the_plan() -> None:
    first = step("creek_side", MORNING, ended_by=Limit.GUST)
    later = step("hill", MORNING + 3 * HOUR)
    title, lines = brief(plan(first, later))
    assert title == "Plan today: creek side now, hill 14:00"
    assert lines[:3] == (
        "1 creek side now to 11:43: coarse, 7 in 10; with boom; what may end it: gust",
        "2 hill 14:00 to 14:43: coarse, 7 in 10; with boom",
        "Made at 11:00; chances mostly general experience.",
    )


def test_it_says_what_is_left_out_with_what_is_against_it_now() -> None:
    title, lines = brief(
        plan(step("hill", MORNING + HOUR), creek_side=NotPlanned.NO_HOUR), gust_mph=19.0
    )
    assert title == "Plan today: hill 12:00"
    assert lines[1] == (
        "creek side: no hour in which it is likely enough to hold; "
        "now gust 19 mph, at most 15 mph (own): 4 mph over"
    )


def test_what_the_plan_has_another_day_is_not_told_as_to_be_sprayed_now() -> None:
    assert brief(plan(step("hill", MORNING + 24 * HOUR)))[0] == "Plan: hill tomorrow 11:00"
    none = plan(hill=NotPlanned.NO_HOUR, creek_side=NotPlanned.WISHED)
    assert brief(none)[0] == "Plan today: nothing to spray"


def test_without_a_forecast_what_is_open_now_is_still_told() -> None:
    unknown = plan(hill=NotPlanned.NOT_KNOWN, creek_side=NotPlanned.NOT_KNOWN)
    assert brief(unknown)[0] == "Spray now: creek side, hill"
    assert brief(replace(plan(step("hill", MORNING)), changed=PlanChanged.AGE))[0].startswith(
        "Spray now"
    )


def test_the_evening_names_tomorrows_steps() -> None:
    now = MORNING + 8 * HOUR
    tomorrow, in_two_days = (
        step("hill", MORNING + 21 * HOUR),
        step("creek_side", MORNING + 45 * HOUR),
    )
    look = timeline(now)
    judgement, _ = judged(PLAN, look)
    of = plan(tomorrow, in_two_days, now=now)
    text = english(evening_look_ahead(SPEAKER, judgement, look, plan=of))
    assert text.title == "Tomorrow: hill 08:00"
    assert text.lines[0].startswith("1 hill tomorrow 08:00 to tomorrow 08:43: coarse, 7 in 10")


@pytest.mark.parametrize(
    ("acres", "water", "product"),
    [
        # By hand: 15 gal/acre from 1200 gal are 80 acre a tank; 22 fl oz an acre are 1760 a tank.
        (40.0, "One load of 600 gal.", "Rated: 880.0 fl oz."),
        (80.0, "1 full load of 1200 gal.", "Rated: 1760 fl oz."),
        (
            200.0,
            "2 full loads of 1200 gal, the last 600 gal.",
            "Rated: 1760 fl oz in a full load, 880.0 fl oz in the last, 4400 fl oz in all.",
        ),
        (
            160.0,
            "2 full loads of 1200 gal.",
            "Rated: 1760 fl oz in a full load, 3520 fl oz in all.",
        ),
    ],
)
def test_loads_are_told_with_their_water_and_products(
    acres: float, water: str, product: str
) -> None:
    lines = [str(line) for line in load_lines(SPEAKER, step("hill", MORNING, acres))]
    assert lines == [water, product, "Unrated: no rate in the farm file."]


def test_who_drives_and_what_lies_before_a_step_are_told() -> None:
    one = step("creek_side", MORNING, driver="driver")
    other = replace(
        step("hill", MORNING + 3 * HOUR, driver="driver"),
        sprayer="old_boom",
        change_s=1500.0,
        changes_over=True,
    )
    _, lines = brief(plan(one, other))
    assert "with boom, driven by driver" in lines[0]
    assert "with old boom, driven by driver" in lines[1]
    assert "before it 25 min to change over to this sprayer" in lines[1]


def test_turning_tips_is_told_apart_from_the_way() -> None:
    turned = replace(step("hill", MORNING, tips_s=300.0), change_s=1500.0)
    assert before(turned).render(ENGLISH) == (
        "before it 20 min on the way, other tips first, a stop of 5 min"
    )


def test_half_a_field_is_told_as_half_and_counts_as_half() -> None:
    _, lines = brief(plan(step("hill", MORNING + 3 * HOUR, part=0.5)))
    assert any("half of it: the whole is not likely enough to hold" in line for line in lines)
    assert "expect about 0.3" in expected([step("hill", MORNING, part=0.5)]).render(ENGLISH)


def test_a_plan_says_what_became_of_it() -> None:
    of = plan(step("hill", MORNING))
    said = {why: str(plan_status(replace(of, changed=why), SPEAKER)) for why in PlanChanged}
    assert said[PlanChanged.ISSUE] == (
        "Of 11:00, and being worked out anew. A new forecast has come since."
    )
    assert said[PlanChanged.AGE] == (
        "Old, of 11:00: do not go by it. Nothing newer could be worked out."
    )
    assert len(set(said.values())) == len(PlanChanged)


def test_what_another_order_loses_and_which_wish_stands_in_the_way() -> None:
    assert str(loses(PlanLoss(("creek_side", "hill"), 1.2))) == "loses creek side, hill"
    assert str(loses(PlanLoss((), 0.3))) == "lower chances: 0.3 fewer fields finished"
    assert str(loses(PlanLoss((), 0.04))) == "nothing lost"
    assert "“home by” stands in the way" in str(
        refusal(RefusedWish(Wish.FIRST, "hill", Wish.HOME_BY))
    )
    assert "no start in which it is likely" in str(refusal(RefusedWish(Wish.FIRST, "hill", None)))
