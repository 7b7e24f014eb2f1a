"""The plan of the day as the watch keeps it: when it is made, of what, and when it stands."""

import asyncio
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.support.planned_day import later, plan_anew, plan_of, planned_day
from tests.support.running import put_forecast
from tests.support.visiting import NOON
from watcher.jobs.steps import StepName, StepRequest
from watcher.judge.ranking import Ranking
from watcher.planning.day_plan import DayPlan, NotPlanned, PlanLoss, PlanStep, Wish, Wishes
from watcher.planning.kept_plan import (
    Basis,
    KeptPlan,
    PlanChanged,
    PlanNow,
    RefusedWish,
    SprayerInJob,
    stands,
)
from watcher.service.day_plan import Making, PlanKeeper, _due, _order_before, with_plan
from watcher.service.snapshot import Snapshot

HOUR = 3600
BASIS = Basis((("feed", 1),), (), (), 0, "abc")


def kept(**changes: object) -> KeptPlan:
    plan = DayPlan(
        NOON, (PlanStep("boom", "hill", "coarse", NOON, NOON + HOUR, 0.7, 0.0),), 0.7, {}
    )
    return replace(KeptPlan(plan, BASIS), **changes)


def test_a_plan_is_read_back_as_it_was_kept() -> None:
    made = kept(
        wishes=Wishes("hill", frozenset({"a"}), {"b": 1}, {"c": "boom"}, 5, 6, {"boom": 7}),
        refused=RefusedWish(Wish.FIRST, "hill", Wish.HOME_BY),
        loses={"creek": PlanLoss(("hill",), 0.2)},
        in_hand=(SprayerInJob("boom", "creek", 1, 2),),
        past_forecasts=4,
        open_now=("hill",),
        quick=True,
    )
    left = replace(made, plan=replace(made.plan, left_out={"creek": NotPlanned.NO_TIME}))
    assert KeptPlan.of_json(0, left.to_json()) == left


@pytest.mark.parametrize(
    ("basis", "after_s", "why"),
    [
        ({}, 0, None),
        ({}, 2 * HOUR, None),
        ({}, 2 * HOUR + 1, PlanChanged.AGE),
        ({}, -61, PlanChanged.AGE),
        ({"farm": "other"}, 0, PlanChanged.FARM),
        ({"wishes": 1}, 0, PlanChanged.WISHES),
        ({"jobs": ((1, "running", "coarse"),)}, 0, PlanChanged.JOB),
        ({"left": (("hill", 0.4),)}, 0, PlanChanged.JOB),
        ({"issues": (("feed", 2),)}, 0, PlanChanged.ISSUE),
    ],
)
def test_a_plan_of_another_basis_or_age_is_never_taken_for_a_new_one(
    basis: dict[str, object], after_s: int, why: PlanChanged | None
) -> None:
    assert stands(kept(), replace(BASIS, **basis), NOON + after_s) is why


@pytest.mark.parametrize(
    ("after_s", "changed", "step_after_s", "due"),
    [
        (0, None, 2 * HOUR, False),
        (HOUR - 1, None, 2 * HOUR, False),
        (HOUR, None, 2 * HOUR, True),
        (60, PlanChanged.ISSUE, 2 * HOUR, True),
        (899, None, 0, False),
        (900, None, 0, True),
    ],
)
def test_a_plan_is_made_anew_each_hour_when_it_changed_and_when_a_job_is_late(
    after_s: int, changed: PlanChanged | None, step_after_s: int, due: bool
) -> None:
    step = replace(kept().plan.steps[0], starts_at=NOON + step_after_s)
    plan = PlanNow(kept(plan=DayPlan(NOON, (step,), 0.7, {})), NOON + after_s, changed)
    assert _due(plan, Ranking(NOON + after_s, (), ())) is due


async def test_the_ranking_is_the_plans_first_step_read_aloud(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        plan, snapshot = plan_of(v), v.service.watch.snapshot
        assert snapshot is not None
        assert plan.changed is None
        assert [s.field for s in plan.due] == [plan.steps[0].field]
        assert snapshot.ranking.spray[0].field == plan.steps[0].field
        later_ = {s.field: s.starts_at for s in plan.steps if s not in plan.due}
        assert later_
        waits = {f.field: f.can_wait_until for f in snapshot.ranking.spray}
        assert {field: waits[field] for field in later_} == later_
        assert waits[plan.steps[0].field] is None


async def test_a_start_a_wish_and_an_issue_each_make_it_anew(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        first = plan_of(v)
        step = first.steps[0]
        start = StepRequest(StepName.START, "driver", field=step.field, setup=step.setup)
        await v.service.watch.take_step(start)
        assert plan_of(v).changed is PlanChanged.JOB
        assert step.field not in {s.field for s in plan_of(v).steps}
        await v.service.judged()
        await plan_anew(v)
        second = plan_of(v)
        assert second.changed is None
        assert [b.field for b in second.kept.in_hand] == [step.field]
        assert all(
            s.starts_at >= second.kept.in_hand[0].until
            for s in second.steps
            if s.sprayer == step.sprayer
        )
        put_forecast(v.service.watch.transactions.store, NOON + 780, wind_m_s=3.1, gust_m_s=4.0)
        v.service.clock.at += 120
        assert plan_of(v).changed is PlanChanged.ISSUE


async def test_the_rest_of_a_field_sprayed_in_part_is_planned_again(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        first = plan_of(v).steps[0]
        start = StepRequest(StepName.START, "driver", field=first.field, setup=first.setup)
        job = (await v.service.watch.take_step(start)).job
        assert job is not None
        await later(v, 600)
        finish = StepRequest(StepName.FINISH, "driver", job=job.id, done="60 %")
        await v.service.watch.take_step(finish)
        await later(v)
        await plan_anew(v)
        plan = plan_of(v)
        assert plan.changed is None
        [rest] = [step for step in plan.steps if step.field == first.field]
        assert rest.area_m2 == pytest.approx(0.4 * first.area_m2)


async def test_it_waits_for_chances_of_the_new_issue(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        number = plan_of(v).kept.number
        put_forecast(v.service.watch.transactions.store, NOON + 720, wind_m_s=3.1, gust_m_s=4.0)
        await later(v, 120)
        await v.service.watch._plan()
        assert plan_of(v).kept.number == number
        assert plan_of(v).changed is PlanChanged.ISSUE
        v.service.watch.chances.ask()
        await plan_anew(v)
        assert plan_of(v).changed is None


async def test_a_field_whose_turn_it_is_and_is_not_open_makes_it_anew(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        due = plan_of(v).due[0].field
        await later(v, gust="30 mph")
        snapshot = v.service.watch.snapshot
        assert snapshot is not None
        assert snapshot.plan is not None
        assert snapshot.plan.changed is PlanChanged.CLOSED
        await v.service.watch._plan()
        await v.service.judged()
        assert due not in {s.field for s in plan_of(v).due}


async def test_a_quick_plan_is_there_until_the_best_one_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with planned_day(tmp_path) as v:
        before = plan_of(v)
        start = StepRequest(StepName.START, "driver", field="hill", setup="coarse")
        await v.service.watch.take_step(start)
        await v.service.judged()
        best, meanwhile = Making.best, list[PlanNow]()

        def looked_at(making: Making) -> KeptPlan:
            meanwhile.append(plan_of(v))
            return best(making)

        monkeypatch.setattr(Making, "best", looked_at)
        await v.service.watch._plan()
        [quick] = meanwhile
        assert quick.kept.number > before.kept.number
        assert (quick.kept.quick, quick.changed, quick.old) == (True, PlanChanged.QUICK, False)
        assert [step.field for step in quick.steps] == ["creek_side"]
        assert [job.field for job in quick.kept.in_hand] == ["hill"]
        after = plan_of(v)
        assert (after.kept.quick, after.changed) == (False, None)
        assert after.kept.number > quick.kept.number


async def test_while_a_plan_stands_no_quick_one_takes_its_place(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        number = plan_of(v).kept.number
        await later(v, 16 * 60)  # a job was to begin and has not
        await v.service.watch._plan()
        assert plan_of(v).kept.number == number + 1
        assert not plan_of(v).kept.quick


def test_the_order_of_a_quick_plan_is_not_held_on_to() -> None:
    standing = PlanNow(kept(), NOON)
    assert _order_before(standing, Wishes()) is standing.kept.plan
    assert _order_before(replace(standing, kept=kept(quick=True)), Wishes()) is None


async def test_nothing_that_is_due_is_left_to_age(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        number = plan_of(v).kept.number
        await v.service.watch._plan()
        assert plan_of(v).kept.number == number
        await later(v, 16 * 60)  # it was to begin and has not
        await v.service.watch._plan()
        assert plan_of(v).kept.number > number


async def test_an_old_plan_leads_nobody(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.service.clock.at += 3 * HOUR
        plan = plan_of(v)
        assert plan.old
        assert plan.steps == ()
        snapshot = v.service.watch.snapshot
        assert snapshot is not None
        assert with_plan(snapshot.ranking, plan) is snapshot.ranking


async def test_making_it_holds_up_no_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with planned_day(tmp_path) as v:
        begun, go_on = asyncio.Event(), threading.Event()
        loop, look = asyncio.get_running_loop(), PlanKeeper.look

        def held_up(keeper: PlanKeeper, snapshot: Snapshot) -> Iterator[KeptPlan]:
            loop.call_soon_threadsafe(begun.set)
            go_on.wait(10)
            yield from look(keeper, snapshot)

        monkeypatch.setattr(PlanKeeper, "look", held_up)
        planning = asyncio.create_task(v.service.watch._plan())
        await begun.wait()
        await later(v)  # a reading is taken and judged meanwhile
        assert not planning.done()
        go_on.set()
        await planning


async def test_what_goes_wrong_with_a_plan_costs_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with planned_day(tmp_path) as v:
        number = plan_of(v).kept.number

        def broken(_keeper: PlanKeeper, _picture: Snapshot) -> Iterator[KeptPlan]:
            raise ZeroDivisionError

        monkeypatch.setattr(PlanKeeper, "look", broken)
        v.service.watch.plan_soon()
        await later(v)
        await later(v)
        assert plan_of(v).kept.number == number
        monkeypatch.undo()
        await later(v, 16 * 60)
        await plan_anew(v)
        assert plan_of(v).kept.number > number
