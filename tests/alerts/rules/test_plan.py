"""An accepted plan tells its next step once, and why it turned; of any other nothing is said."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import time
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.alerts import cycle
from watcher.alerts.enqueue import Enqueue
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.planning.day_plan import DayPlan, NotPlanned, PlanStep
from watcher.planning.kept_plan import Accepted, Basis, KeptPlan, PlanChanged, PlanNow
from watcher.store.database import Database
from watcher.store.tables import Outgoing

MINUTE = 60
RECIPIENTS = {
    "driver": {"quiet_hours": {"start": time(10), "end": time(14)}},
    "mate": {"hears": ["job"], "form": "sms", "language": "es"},
}
FARM = build(tables() | {"recipients": RECIPIENTS, "brief": {"morning": time(3)}})
ARRAYS = FarmArrays.of(FARM)
GUST_UP = {"gust_mph": 19.0}


def step(field: str, after_min: int, sprayer: str = "boom", chance: float = 0.7) -> PlanStep:
    starts_at = MORNING + after_min * MINUTE
    return PlanStep(
        sprayer, field, "coarse", starts_at, starts_at + 43 * MINUTE, chance, 0.0, area_m2=160_000.0
    )


def kept(*steps: PlanStep, **left_out: NotPlanned) -> KeptPlan:
    return KeptPlan(DayPlan(MORNING, steps, 1.0, left_out), Basis((), (), (), 0, ""), number=1)


ASKED = kept(step("hill", 40), step("creek_side", 120))
YES = Accepted(ASKED, MORNING, "driver")
NewMessages = Callable[..., list[tuple[str, str, str, int]]]


@pytest.fixture
def new_messages(tmp_path: Path) -> Iterator[NewMessages]:
    """Run a cycle at a minute with a plan; return what is new: to whom, title, body, held for."""
    store = Database(f"sqlite:///{tmp_path / 'watch.db'}", lasting=False)
    store.upgrade()
    post, seen = Enqueue(Speaker(FARM), None), set()

    def run(
        after_min: int,
        plan: KeptPlan = ASKED,
        *,
        accepted: Accepted | None = YES,
        changed: PlanChanged | None = None,
        spraying: str = "",
        kinds: tuple[str, ...] = ("next step due", "plan changed"),
        done: frozenset[str] = frozenset(),
        **sky: float,
    ) -> list[tuple[str, str, str, int]]:
        now = MORNING + after_min * MINUTE
        look = timeline(now=now, **sky)
        judgement, ranking = judged(ARRAYS, look)
        shown = PlanNow(plan, now, changed, accepted, done)
        with store.writing() as session:
            if spraying:
                job_steps.start(session, ARRAYS, spraying, "coarse", now)
            cycle.run(session, post, judgement, look, ranking, plan=shown)
            rows = session.scalars(select(Outgoing).where(Outgoing.kind.in_(kinds))).all()
            new = [row for row in rows if row.id not in seen]
            seen.update(row.id for row in new)
            return [(m.recipient, m.title, m.body, m.due_at - m.created_at) for m in new]

    yield run
    store.close()


def test_twenty_minutes_before_a_step_it_is_told_once_with_its_loads(
    new_messages: NewMessages,
) -> None:
    assert new_messages(19) == []
    (driver, title, body, _), (mate, _, sms, _) = new_messages(20)
    assert (driver, mate) == ("driver", "mate")
    assert title == "In 20 min: hill, coarse"
    # 16 ha are 39.5 acre; at 15 gal/acre 593 gal, half a tank of 1200 gal.
    assert body.splitlines()[:2] == [
        "One load of 593 gal.",
        "From 11:40 to 12:23, 7 in 10 (mostly general experience).",
    ]
    assert "Guidance only." in body
    assert sms.startswith("En 20 min: hill, coarse. Una carga de 593 gal. De 11:40 a 12:23, 7 ")
    assert len(sms) <= 160
    assert [new_messages(minute) for minute in (21, 30, 45)] == [[], [], []]
    assert [m[1] for m in new_messages(100)] == ["In 20 min: creek side, coarse", ""]


def test_a_step_that_moves_is_told_when_it_is_due_and_not_before(new_messages: NewMessages) -> None:
    moved = kept(step("hill", 70), step("creek_side", 120))
    assert new_messages(20, moved) == []
    assert new_messages(50, moved)[0][1] == "In 20 min: hill, coarse"


def test_who_accepts_what_begins_now_is_not_told_what_they_know(new_messages: NewMessages) -> None:
    at_once = kept(step("hill", 0), step("creek_side", 120))
    assert new_messages(1, at_once, accepted=Accepted(at_once, MORNING, "driver")) == []


@pytest.mark.parametrize(
    "of", [{"accepted": None}, {"changed": PlanChanged.ISSUE}, {"changed": PlanChanged.AGE}]
)
def test_of_a_plan_nobody_accepted_or_that_does_not_stand_nothing_is_told(
    new_messages: NewMessages, of: dict[str, PlanChanged | None]
) -> None:
    turned = kept(step("creek_side", 30))
    assert [new_messages(minute, turned, **of) for minute in (20, 25, 30)] == [[], [], []]


def test_quiet_hours_hold_it_back_unless_somebody_sprays(new_messages: NewMessages) -> None:
    held = {name: for_s for name, _, _, for_s in new_messages(20)}
    assert held == {"driver": (14 * 60 - (11 * 60 + 20)) * MINUTE, "mate": 0}
    begun = new_messages(100, spraying="hill", done=frozenset({"hill"}))
    assert {name: for_s for name, _, _, for_s in begun} == {"driver": 0, "mate": 0}


def test_a_plan_that_turns_after_a_gust_says_the_order_why_and_what_is_lost(
    new_messages: NewMessages,
) -> None:
    now = kept(step("creek_side", 6), step("hill", 300))
    asked = Accepted(kept(step("hill", 5), step("creek_side", 120)), MORNING, "driver")
    assert new_messages(4, now, accepted=asked, **GUST_UP) == []  # steady for two minutes first
    (_, title, body, _), (_, _, sms, _) = new_messages(6, now, accepted=asked, **GUST_UP)
    assert title == "Plan now: creek side now, hill 16:00"
    lines = body.splitlines()
    assert lines[0] == "Hill at 16:00: now gust 19 mph, at most 15 mph (own): 4 mph over."
    assert lines[1] == "Nothing lost."
    assert "Open the plan to accept it, or to keep your order." in lines
    assert sms.startswith("Plan ahora: creek side ahora, hill 16:00.")
    small_gain = kept(step("creek_side", 10), step("hill", 270))
    assert new_messages(10, small_gain, accepted=asked, **GUST_UP) == []


def test_a_sprayer_that_breaks_gives_its_field_to_another_or_to_nobody(
    new_messages: NewMessages,
) -> None:
    asked = Accepted(kept(step("hill", 30), step("creek_side", 30, "old_boom")), MORNING, "driver")
    now = kept(step("creek_side", 30), hill=NotPlanned.OUT)
    new_messages(4, now, accepted=asked)
    (_, title, body, _), _ = new_messages(6, now, accepted=asked)
    assert title == "Plan now: creek side 11:30"
    assert body.splitlines()[:3] == [
        "Hill: its sprayers are out of use today.",
        "Creek side goes to boom.",
        "Loses hill.",
    ]


def test_what_is_done_or_in_hand_is_no_turn_of_the_plan(new_messages: NewMessages) -> None:
    rest = kept(step("creek_side", 90))
    assert [new_messages(m, rest, done=frozenset({"hill"})) for m in (40, 44, 60)] == [[], [], []]


@pytest.mark.parametrize(("accepted", "messages"), [(YES, 0), (None, 1)])
def test_who_accepted_a_plan_is_not_told_as_each_field_opens(
    new_messages: NewMessages, accepted: Accepted | None, messages: int
) -> None:
    later = kept(step("hill", 400), step("creek_side", 500))
    opened = [
        message
        for minute in range(0, 12, 2)
        for message in new_messages(minute, later, accepted=accepted, kinds=("field open",))
    ]
    assert len(opened) == messages


def test_an_acceptance_ends_with_its_last_job() -> None:
    assert YES.until == MORNING + (120 + 43) * MINUTE
    turned = PlanNow(kept(step("creek_side", 0)), MORNING, accepted=YES)
    assert [(old.field, new and new.field) for old, new in turned.turned] == [
        ("hill", "creek_side")
    ]
    assert replace(turned, changed=PlanChanged.AGE).turned == ()
