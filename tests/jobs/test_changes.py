"""Remedies taken as steps of a job: read, folded, and judged from then on."""

from typing import Any

import pytest

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.skies import MORNING, outlook
from watcher.farm.models import Adjuvant
from watcher.jobs import changes
from watcher.jobs.commands import BadStepError, take
from watcher.jobs.lately import Lately
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
NOBODY = Lately(frozenset(), {})


def seen(*rigs: ChangedRig, plan: FarmArrays = PLAN, now: int = MORNING) -> Snapshot:
    look = outlook(now=now, wind_mph=5.0, gust_mph=7.0, wind_from_deg=ONTO)
    return judged(plan, look, NOBODY, rigs=rigs)


def drift(
    picture: Snapshot, field: str = "creek_side", setup: str = "fine", time: int = 0
) -> float:
    plan = picture.judgement.plan
    case = plan.fields.index(field), plan.setups.index(setup), time
    found: list[Reason] = reasons(picture.judgement, *case)
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
    for picture in (plain, changed):
        assert drift(picture, setup="old_coarse") == drift(plain, setup="old_coarse")
        assert drift(picture, field="hill") == drift(plain, field="hill")
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
    picture = seen(fresh, plan=plan, now=MORNING + 600)
    case = plan.fields.index("creek_side"), plan.setups.index("fine"), 0
    assert picture.judgement.breaks_at[case] <= MORNING + 3600


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


def test_a_retardant_of_the_farm_file_brings_what_labels_call_it() -> None:
    farm = tables()
    farm["products"] = {
        "slow": {
            "name": "Slow (invented)",
            "registration": "none",
            "retardant": {"kind": "guar", "called": ["drift agent"], "most": "4 oz/acre"},
        }
    }
    plan = FarmArrays.of(build(farm))
    job = jobs.Job(field="creek_side", setup="fine", sprayer="boom")
    found = changes.understood(plan, job, {"retardant": "slow", "rate": "2 oz/acre"})
    assert found["retardant"] == {
        "adjuvant": "guar",
        "additives": ["drift agent", "Slow (invented)"],
    }
