"""Remedies taken as steps of a job: read, folded, and judged from then on."""

from typing import Any

import pytest

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.skies import MORNING, timeline
from watcher.farm.models import Adjuvant
from watcher.jobs import changes
from watcher.jobs.commands import BadStepError, take
from watcher.jobs.recently_sprayed import RecentlySprayed
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.judge.changed_rig import ChangedRig
from watcher.judge.reasons import Reason, reasons
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.snapshot import Snapshot, judged
from watcher.store import jobs
from watcher.store.database import Database

ONTO = 180.0
"""Wind from the south, to the orchard 10 m north of the field."""
PLAN = FarmArrays.of(build(tables()))
NOBODY = RecentlySprayed(frozenset(), {})


def seen(*rigs: ChangedRig, plan: FarmArrays = PLAN, now: int = MORNING) -> Snapshot:
    look = timeline(now=now, wind_mph=5.0, gust_mph=7.0, wind_from_deg=ONTO)
    return judged(plan, look, NOBODY, rigs=rigs)


def drift(
    snapshot: Snapshot, field: str = "creek_side", setup: str = "fine", time: int = 0
) -> float:
    plan = snapshot.judgement.plan
    case = plan.fields.index(field), plan.setups.index(setup), time
    found: list[Reason] = reasons(snapshot.judgement, *case)
    return next(r.value for r in found if r.limit is Limit.DEPOSIT)


def rig(**changed: Any) -> ChangedRig:
    return ChangedRig("creek_side", "fine", **changed)


AS_IT_WAS = drift(seen())


@pytest.mark.parametrize(
    "changed",
    [
        {"boom_height_m": 0.38},
        {"speed_m_s": 3.0},
        {"strips": {"orchard": 20.0}},
        {"adjuvant": Adjuvant.GUAR, "added_at": MORNING},
        {"adjuvant": Adjuvant.POLYACRYLAMIDE, "added_at": MORNING},
    ],
)
def test_what_was_changed_is_judged_so(changed: dict[str, Any]) -> None:
    assert drift(seen(rig(**changed))) <= AS_IT_WAS
    if changed.get("adjuvant") is not Adjuvant.POLYACRYLAMIDE:
        assert drift(seen(rig(**changed))) < AS_IT_WAS


def test_two_changes_together_drift_less_than_either() -> None:
    low, far = {"boom_height_m": 0.38}, {"strips": {"orchard": 20.0}}
    assert drift(seen(rig(**low, **far))) < min(drift(seen(rig(**low))), drift(seen(rig(**far))))


def test_a_boom_that_was_raised_is_judged_raised() -> None:
    assert drift(seen(rig(boom_height_m=1.0))) > AS_IT_WAS


def test_other_fields_and_sprayers_are_judged_as_ever() -> None:
    plain, changed = seen(), seen(rig(boom_height_m=0.38, adjuvant=Adjuvant.GUAR, added_at=MORNING))
    for snapshot in (plain, changed):
        assert drift(snapshot, setup="old_coarse") == drift(plain, setup="old_coarse")
        assert drift(snapshot, field="hill") == drift(plain, field="hill")
    assert changed.ranking.every.keys() == plain.ranking.every.keys()


def test_a_retardant_that_the_pump_wears_fades_within_the_hour_and_is_not_counted_ahead() -> None:
    # What the orchard stands is set so that the fresh retardant alone decides.
    farm = tables()
    farm["neighbours"]["orchard"]["tolerable_deposit"] = "1 %"
    stands = 0.95 * drift(seen(plan=FarmArrays.of(build(farm))))
    farm["neighbours"]["orchard"]["tolerable_deposit"] = f"{stands:.5f} %"
    plan = FarmArrays.of(build(farm))
    fresh = rig(adjuvant=Adjuvant.POLYACRYLAMIDE, added_at=MORNING)
    left = [
        drift(seen(fresh, plan=plan, now=at)) / drift(seen(plan=plan, now=at))
        for at in (MORNING, MORNING + 600, MORNING + 3600, MORNING + 5400)
    ]
    # A tenth of the drift is saved at first, in a straight line to nothing within the hour.
    assert left == pytest.approx([0.9, 0.9 + 0.1 / 6, 1.0, 1.0], abs=1e-6)
    snapshot = seen(fresh, plan=plan, now=MORNING + 600)
    case = plan.fields.index("creek_side"), plan.setups.index("fine"), 0
    assert snapshot.judgement.breaks_at[case] <= MORNING + 3600


def test_with_air_induction_tips_a_retardant_changes_no_drift() -> None:
    changed = ChangedRig("creek_side", "coarse", adjuvant=Adjuvant.GUAR, added_at=MORNING)
    assert drift(seen(changed), setup="coarse") == drift(seen(), setup="coarse")


def take_change(log: Database, at: int, **changed: str) -> Any:
    with log.writing() as session:
        step = StepRequest(
            StepName.CHANGE, "grower", job=1, changed=changed, key=f"{at} {changed}", at=at
        )
        return take(session, PLAN, step, at, lambda *_: ())


@pytest.fixture
def running(log: Database) -> Database:
    with log.writing() as session:
        job_steps.start(session, PLAN, "creek_side", "fine", MORNING)
    return log


def test_steps_add_up_to_the_rig_and_a_late_one_counts_from_its_time(running: Database) -> None:
    take_change(running, MORNING + 60, boom="15 in")
    take_change(running, MORNING + 120, retardant="guar", rate="2 oz/acre", strip="2 passes")
    take_change(running, MORNING + 180, boom="18 in", speed="8 mph")
    with running.reading() as session:
        job, events = jobs.job(session, 1), jobs.events(session, 1)
        first = changes.rig_at(job, events, MORNING + 90)
        last = changes.rig_at(job, events, MORNING + 200)
        [now] = changes.changed_rigs(session, MORNING + 200)
    assert changes.rig_at(job, events, MORNING + 30) is None
    assert (first.boom_height_m, first.adjuvant) == (pytest.approx(0.381), None)
    assert last == now
    assert (now.boom_height_m, now.speed_m_s) == (pytest.approx(0.4572), pytest.approx(3.576, 1e-3))
    assert (now.adjuvant, now.added_at) == (Adjuvant.GUAR, MORNING + 120)
    assert now.strips == {"orchard": pytest.approx(2 * 27.432)}


def test_the_same_key_is_taken_once(running: Database) -> None:
    one, other = (take_change(running, MORNING + 60, boom="15 in") for _ in range(2))
    assert (one.outcome, other.outcome) == (StepOutcome.DONE, StepOutcome.DONE)
    with running.reading() as session:
        assert [e.what for e in jobs.events(session, 1)] == ["started", "rig changed"]


def test_a_slower_speed_makes_the_rest_of_the_job_longer(running: Database) -> None:
    with running.reading() as session:
        before = jobs.job(session, 1).planned_s
    taken = take_change(running, MORNING + 60, speed="6 mph")
    assert taken.job.planned_s > before * 1.3


def test_what_a_retardant_counts_for_is_said(running: Database) -> None:
    said = str(take_change(running, MORNING + 60, retardant="polyacrylamide", rate="2 oz").text)
    assert "fades to nothing within the hour of pumping" in said


@pytest.mark.parametrize(
    ("changed", "wanted"),
    [
        ({}, "nothing was changed"),
        ({"retardant": "guar"}, "at which rate"),
        ({"rate": "2 oz"}, "a rate is of a retardant"),
        ({"retardant": "sugar", "rate": "2 oz"}, "no drift retardant; known are "),
        ({"boom": "15 miles"}, "cannot be"),
        ({"boom": "low"}, "does not start with a number"),
        ({"speed": "90 mph"}, "cannot be"),
        ({"strip": "60 ft", "beside": "nobody"}, "beside which neighbour"),
        ({"beside": "orchard"}, "how wide a strip"),
        ({"strip": "0 passes"}, "cannot be"),
    ],
)
def test_a_change_that_cannot_be_is_refused_with_what_would_do(
    running: Database, changed: dict[str, str], wanted: str
) -> None:
    with pytest.raises(BadStepError, match=wanted):
        take_change(running, MORNING + 60, **changed)


def test_after_its_end_a_job_is_not_changed(running: Database) -> None:
    with running.writing() as session:
        job_steps.finish(session, 1, MORNING + 600)
    assert take_change(running, MORNING + 700, boom="15 in").outcome is StepOutcome.REFUSED


def with_retardant() -> FarmArrays:
    farm = tables()
    farm["products"] = {
        "slow": {
            "name": "Slow (invented)",
            "registration": "none",
            "retardant": {"kind": "guar", "called": ["drift agent"], "most": "4 oz/acre"},
        }
    }
    return FarmArrays.of(build(farm))


def test_a_retardant_of_the_farm_file_brings_what_labels_call_it() -> None:
    job = jobs.Job(field="creek_side", setup="fine", sprayer="boom")
    found = changes.understood(with_retardant(), job, {"retardant": "slow", "rate": "4 oz/acre"})
    assert found["retardant"] == {
        "adjuvant": "guar",
        "additives": ["drift agent", "Slow (invented)"],
    }


@pytest.mark.parametrize(
    ("rate", "wanted"),
    [
        ("4.1 oz/acre", "over the label's maximum, 4 oz/acre"),
        ("1 kg/ha", "over the label's maximum, 4 oz/acre"),
        ("4 fl oz/acre", "cannot be compared with the label's maximum, 4 oz/acre"),
        ("2 oz", "is not an amount an area; write amount, unit and area"),
    ],
)
def test_a_retardant_over_its_label_s_maximum_is_refused_and_nothing_is_kept(
    running: Database, rate: str, wanted: str
) -> None:
    step = StepRequest(
        StepName.CHANGE, "grower", job=1, changed={"retardant": "slow", "rate": rate}
    )
    with running.writing() as session, pytest.raises(BadStepError, match=wanted):
        take(session, with_retardant(), step, MORNING + 60, lambda *_: ())
    with running.reading() as session:
        assert changes.changed_rigs(session, MORNING + 60) == []


def test_of_a_retardant_without_a_label_here_it_is_said_that_its_maximum_is_not_known(
    running: Database,
) -> None:
    said = str(take_change(running, MORNING + 60, retardant="guar", rate="2 oz/acre").text)
    assert "its label's maximum is not in the farm file" in said


def planned_s(log: Database) -> float:
    with log.reading() as session:
        return jobs.job(session, 1).planned_s


def rigged(log: Database) -> ChangedRig:
    with log.reading() as session:
        [found] = changes.changed_rigs(session, MORNING + 3600)
    return found


def minutes_of(plan: FarmArrays, setup: str = "fine") -> float:
    case = plan.fields.index("creek_side"), plan.setups.index(setup)
    return float(plan.duration_s[case]) / 60


def test_a_strip_that_is_left_takes_its_ground_off_the_planned_time(running: Database) -> None:
    before = planned_s(running)
    # The field is 400 m by 400 m: two passes of 90 ft along one side are 54.9 m of it.
    share = 2 * 27.432 / 400
    take_change(running, MORNING + 60, strip="2 passes")
    assert rigged(running).unsprayed_share(PLAN) == pytest.approx(share, rel=0.01)
    assert planned_s(running) == pytest.approx(60 * minutes_of(rigged(running).on(PLAN, None)))
    # One fill of 15 minutes is needed either way.
    assert before - planned_s(running) == pytest.approx(share * (before - 900.0), rel=0.02)


@pytest.mark.parametrize("first", ["strip", "speed"])
def test_a_strip_that_comes_in_late_counts_as_if_it_had_not(running: Database, first: str) -> None:
    steps = [("strip", "2 passes", 300), ("speed", "6 mph", 600)]
    for name, text, after in steps if first == "strip" else steps[::-1]:
        with running.writing() as session:
            step = StepRequest(StepName.CHANGE, "", job=1, changed={name: text}, at=MORNING + after)
            take(session, PLAN, step, MORNING + 900, lambda *_: ())
    slow = rigged(running)
    # Ten minutes are done at the old speed; all that is left, without the strip, at the new one.
    old, whole = 60 * minutes_of(PLAN), ChangedRig("creek_side", "fine", speed_m_s=slow.speed_m_s)
    rest_s = (1 - 600 / old) * 60 * minutes_of(whole.on(PLAN, None))
    saved_s = 60 * (minutes_of(whole.on(PLAN, None)) - minutes_of(slow.on(PLAN, None)))
    assert planned_s(running) == pytest.approx(600 + rest_s - saved_s)


def test_the_same_strip_said_again_is_taken_off_once(running: Database) -> None:
    take_change(running, MORNING + 60, strip="2 passes")
    once = planned_s(running)
    take_change(running, MORNING + 90, strip="2 passes")
    assert planned_s(running) == pytest.approx(once)
    take_change(running, MORNING + 120, strip="1 pass")
    assert planned_s(running) > once


def test_other_tips_keep_the_speed_the_sprayer_was_slowed_to(running: Database) -> None:
    slow = take_change(running, MORNING, speed="6 mph").job.planned_s
    with running.writing() as session:
        step = StepRequest(StepName.SETUP, "grower", job=1, setup="coarse", at=MORNING)
        taken = take(session, PLAN, step, MORNING, lambda *_: ())
    assert taken.job.planned_s == pytest.approx(slow)


BUFFERED = tables()
BUFFERED["neighbours"]["orchard"] |= {"susceptibility": "tolerant", "no_spray_distance": "60 m"}


def test_a_strip_that_a_start_agrees_to_is_taken_off_and_goes_on_being_asked_for(
    log: Database,
) -> None:
    plan = FarmArrays.of(build(BUFFERED))
    plain, snapshot = FarmArrays.of(build(tables())), seen(plan=plan)
    found = snapshot.against_start("creek_side", "coarse")
    assert [one.against.value for one in found] == ["strip"]
    step = StepRequest(
        StepName.START, "", field="creek_side", setup="coarse", confirm=(found[0].token,)
    )
    with log.writing() as session:
        job = take(session, plan, step, MORNING, snapshot.against_start).job
        assert job.planned_s < 60 * minutes_of(plain, "coarse")
    agreed = rigged(log)
    assert agreed.agreed == {"orchard": pytest.approx(60 - 10.0, abs=0.5)}
    assert agreed.unsprayed_share(plan) == pytest.approx(50 / 400, rel=0.02)
    case = plan.fields.index("creek_side"), plan.setups.index("coarse"), 0
    after = reasons(seen(agreed, plan=plan).judgement, *case)
    assert [r.strips[0].depth_m for r in after if r.strips] == [pytest.approx(50.0, abs=0.5)]
