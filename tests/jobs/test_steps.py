"""A job is what its steps make of it, in the order they were taken, however they came in."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support import job_steps
from tests.support.new_log import new_log
from tests.support.skies import MORNING, judged, timeline
from watcher.jobs import commands
from watcher.jobs.commands import BadStepError, take
from watcher.jobs.steps import StepName, StepOutcome, StepRequest, fold, sprayed_s
from watcher.judge.start_check import obstacles
from watcher.store import jobs, records
from watcher.store.tables import RecordEntry

STARTED = StepRequest(StepName.START, "driver", field="hill", setup="coarse", key="start")
WHOLE_S = 43 * 60


@pytest.fixture
def tap(store, plan):
    """Take a step in a transaction of its own."""

    def run(step, now):
        with store.writing() as session:
            return take(session, plan, step, now, job_steps.nothing_against)

    return run


@pytest.fixture
def job(tap):
    return tap(STARTED, MORNING).job.id


def _step(name, job, **more):
    return StepRequest(name, more.pop("by", "driver"), job=job, **more)


def test_the_same_key_is_the_same_step_and_is_answered_as_the_first(tap, store):
    first, second = tap(STARTED, MORNING), tap(STARTED, MORNING + 1)
    assert (first.outcome, second.outcome) == (StepOutcome.DONE, StepOutcome.DONE)
    assert (first.job.id, str(first.text)) == (second.job.id, str(second.text))
    with store.reading() as session:
        assert len(jobs.past_jobs(session, 0, MORNING + 9)) == 1


def test_a_step_sent_again_after_others_changes_nothing(tap, job, store):
    pause = _step(StepName.PAUSE, job, key="p")
    first = tap(pause, MORNING + 60)
    tap(_step(StepName.RESUME, job, key="r"), MORNING + 120)
    again = tap(pause, MORNING + 180)
    assert (again.outcome, str(again.text)) == (first.outcome, str(first.text))
    assert again.job.state == "running"


def test_what_two_people_ask_for_at_once_is_done_once(tap, job):
    other = replace(STARTED, by="mate", key="another")
    again = tap(other, MORNING + 5)
    assert (again.outcome, again.job.id) == (StepOutcome.ALREADY, job)
    assert "job 1 on hill: already started, 11:00, by driver" in str(again.text)


def test_a_step_that_no_longer_applies_says_what_became_of_the_job(tap, job):
    tap(_step(StepName.FINISH, job, by="mate"), MORNING + 12 * 60)
    late = tap(_step(StepName.PAUSE, job), MORNING + 13 * 60)
    assert late.outcome is StepOutcome.REFUSED
    assert str(late.text) == "job 1 on hill: finished, 11:12, by mate"


def test_a_step_that_comes_in_late_counts_from_when_it_was_tapped(tap, job, store):
    tap(_step(StepName.FINISH, job), MORNING + 1800)
    taken = tap(_step(StepName.PAUSE, job, at=MORNING + 1200), MORNING + 1900)
    assert taken.outcome is StepOutcome.DONE
    assert (taken.job.state, taken.job.paused_s) == ("finished", 600)
    with store.reading() as session:
        assert [e.what for e in jobs.events(session, job)] == ["started", "paused", "finished"]


def test_a_start_that_comes_in_late_began_when_it_was_tapped(tap):
    taken = tap(replace(STARTED, at=MORNING), MORNING + 1800)
    assert taken.job.started_at == MORNING


def test_a_late_start_is_not_laid_over_another_job(tap, job):
    tap(_step(StepName.FINISH, job), MORNING + 1800)
    late = StepRequest(StepName.START, "mate", field="hill", setup="fine", at=MORNING + 600)
    taken = tap(late, MORNING + 3600)
    assert taken.outcome is StepOutcome.REFUSED
    assert "hill was in job 1 with boom after that time" in str(taken.text)


@pytest.mark.parametrize(
    ("at", "says"),
    [(MORNING + 7200, "ahead of the watch's clock"), (MORNING - 13 * 3600, "ago")],
)
def test_a_time_that_cannot_be_is_refused_with_what_to_do(tap, at, says):
    with pytest.raises(BadStepError, match=says):
        tap(replace(STARTED, at=at), MORNING)


def test_a_clock_a_little_ahead_is_taken_as_now(tap):
    assert tap(replace(STARTED, at=MORNING + 50), MORNING).job.started_at == MORNING


def test_a_step_before_its_job_is_refused(tap, job):
    with pytest.raises(BadStepError, match="before job 1 was started"):
        tap(_step(StepName.PAUSE, job, at=MORNING - 600), MORNING + 60)


def test_a_clock_set_back_does_not_undo_what_was_done(tap, job):
    tap(_step(StepName.PAUSE, job), MORNING + 100)
    taken = tap(_step(StepName.RESUME, job), MORNING - 3600)
    assert (taken.outcome, taken.job.state, taken.job.paused_s) == (StepOutcome.DONE, "running", 0)


def test_a_key_of_another_step_is_refused(tap, job):
    tap(_step(StepName.PAUSE, job, key="k"), MORNING + 60)
    with pytest.raises(BadStepError, match="'k' was used for another step"):
        tap(_step(StepName.FINISH, job, key="k"), MORNING + 90)


def test_a_key_is_of_the_one_who_uses_it(tap, job):
    tap(_step(StepName.PAUSE, job, key="1"), MORNING + 60)
    assert (
        tap(_step(StepName.FINISH, job, by="mate", key="1"), MORNING + 90).job.state == "finished"
    )


def test_a_closed_record_is_not_changed_by_a_late_step(tap, job, store):
    tap(_step(StepName.FINISH, job), MORNING + 1800)
    with store.writing() as session:
        entry = {"kind": "closed", "at": MORNING, "by": "", "content": "{}", "previous": "0"}
        records.add_entry(session, RecordEntry(number=1, job_id=job, hash="1", **entry))
    taken = tap(_step(StepName.PAUSE, job, at=MORNING + 600), MORNING + 1900)
    assert taken.outcome is StepOutcome.REFUSED
    assert "record of job 1 is closed" in str(taken.text)
    assert taken.job.paused_s == 0


@pytest.mark.parametrize(
    ("written", "share"), [("40 %", 0.4), ("40", 0.4), ("39.5 acre", 1.0), ("", None)]
)
def test_how_much_was_done_is_kept(tap, job, written, share):
    taken = tap(_step(StepName.FINISH, job, done=written), MORNING + 1500)
    assert taken.job.done_share == (share if share is None else pytest.approx(share, abs=0.01))


@pytest.mark.parametrize("written", ["half", "140 %", "-3 %", "900 ha", "9 mph"])
def test_how_much_was_done_is_refused_where_it_cannot_be(tap, job, written):
    with pytest.raises(BadStepError, match="how much was done"):
        tap(_step(StepName.FINISH, job, done=written), MORNING + 1500)


def test_who_saw_a_message_first_is_answered_to_all(tap):
    with pytest.raises(BadStepError, match="no message of the last day"):
        tap(StepRequest(StepName.SEEN, "driver", ref="k7qm2"), MORNING)


_LATER = st.sampled_from([StepName.PAUSE, StepName.RESUME, StepName.SETUP, StepName.FINISH])


@st.composite
def _arriving(draw):
    """Steps of one job with their times, and the order in which they arrive, some twice."""
    names = draw(st.lists(_LATER | st.just(StepName.ABANDON), min_size=1, max_size=7))
    times = draw(
        st.lists(st.integers(1, 3000), min_size=len(names), max_size=len(names), unique=True)
    )
    steps = [
        StepRequest(
            name,
            "driver",
            job=1,
            setup=draw(st.sampled_from(["fine", "coarse"])) if name is StepName.SETUP else "",
            key=f"key {n}",
            at=MORNING + at,
        )
        for n, (name, at) in enumerate(zip(names, times, strict=True))
    ]
    repeated = draw(st.lists(st.sampled_from(steps), max_size=4))
    return steps, draw(st.permutations(steps + repeated))


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A log in which nothing is left of what was tried."""
    log = new_log(tmp_path_factory.mktemp("steps") / "watch.db")
    yield log
    log.close()


def _played(log, plan, steps):
    """The job, its events and the answers to each step, once all of them have come in."""
    now = MORNING + 3600
    with log.writing() as session:
        take(session, plan, STARTED, MORNING, job_steps.nothing_against)
        for step in steps:
            take(session, plan, step, now, job_steps.nothing_against)
        answers = {
            s.key: take(session, plan, s, now, job_steps.nothing_against).outcome for s in steps
        }
        job = jobs.job(session, 1)
        of_job = ("state", "setup", "paused_s", "paused_at", "ended_at", "planned_s")
        kept = {name: getattr(job, name) for name in of_job}
        events = [(e.at, e.what, e.detail) for e in jobs.events(session, 1)]
        session.rollback()
    return kept, events, answers


@given(_arriving())
def test_repeats_and_late_arrivals_are_the_same_as_none(empty, plan, case):
    steps, arriving = case
    in_order = sorted(steps, key=lambda s: s.at)
    assert _played(empty, plan, arriving) == _played(empty, plan, in_order)


def test_pauses_add_up_and_the_end_ends_the_last_one(store, plan):
    with store.writing() as session:
        number = job_steps.start(session, plan, "hill", "coarse", MORNING).id
        job_steps.pause(session, number, MORNING + 100, "gusts")
        assert job_steps.resume(session, number, MORNING + 160).paused_at is None
        job_steps.pause(session, number, MORNING + 200)
        job = job_steps.finish(session, number, MORNING + 230)
        assert (job.paused_s, job.paused_at, job.state) == (90, None, "finished")
        assert sprayed_s(job, MORNING + 230) == 140


def test_every_step_is_kept_in_order_with_who_took_it(store, plan, tap, job):
    tap(_step(StepName.PAUSE, job, note="gusts"), MORNING + 1)
    tap(_step(StepName.SETUP, job, setup="fine"), MORNING + 2)
    tap(_step(StepName.RESUME, job), MORNING + 3)
    tap(_step(StepName.ABANDON, job, note="rain", done="30 %"), MORNING + 4)
    with store.reading() as session:
        assert [(e.at - MORNING, e.what, e.detail) for e in jobs.events(session, job)] == [
            (0, "started", {"setup": "coarse", "sprayer": "boom", "by": "driver"}),
            (1, "paused", {"why": "gusts", "by": "driver"}),
            (2, "setup changed", {"from": "coarse", "to": "fine", "by": "driver"}),
            (3, "resumed", {"by": "driver"}),
            (4, "abandoned", {"note": "rain", "done_share": 0.3, "by": "driver"}),
        ]
        assert fold(jobs.steps(session, job))[0].notes == ("rain",)


def test_what_the_watch_noted_is_kept_through_a_late_step(store, tap, job):
    with store.writing() as session:
        commands.note_wind_strays(session, jobs.job(session, job), "mast", 1.2, MORNING + 500)
    tap(_step(StepName.PAUSE, job, at=MORNING + 100), MORNING + 600)
    with store.reading() as session:
        assert [e.what for e in jobs.events(session, job)] == ["started", "paused", "wind strays"]


@pytest.fixture
def gusty(plan):
    """What stands against a start when gusts and wind are over their bounds."""
    sky = timeline(wind_mph=12.0, gust_mph=20.0)
    judgement = judged(plan, sky)[0]
    return lambda field, setup: obstacles(judgement, sky.now_index, field, setup)


YES = ("gust broken", "wind broken")


def test_a_start_that_breaks_a_limit_asks_and_keeps_nothing(store, plan, gusty):
    with store.writing() as session:
        asked = take(session, plan, STARTED, MORNING, gusty)
        assert (asked.outcome, asked.job) == (StepOutcome.ASKS, None)
        assert str(asked.text).startswith(
            "hill was not started, a plain yes is needed first: gust 20 mph, at most 15 mph"
        )
        assert jobs.open_jobs(session) == []
        again = take(session, plan, STARTED, MORNING, job_steps.nothing_against)
        assert again.outcome is StepOutcome.DONE  # with the same key


def test_with_the_yes_it_starts_and_what_was_broken_is_kept(store, plan, gusty):
    with store.writing() as session:
        taken = take(session, plan, replace(STARTED, confirm=YES), MORNING, gusty)
        assert taken.outcome is StepOutcome.DONE
        [event] = jobs.events(session, taken.job.id)
    kept = event.detail["against"]
    assert [(k["limit"], k["against"], k["origin"]) for k in kept] == [
        ("gust", "broken", "own"),
        ("wind", "broken", "label"),
    ]
    assert kept[1]["said"] == "wind 12 mph, at most 10 mph (label): 2 mph over"


def test_a_yes_is_only_to_what_was_told(store, plan, gusty):
    with store.writing() as session:
        half = replace(STARTED, confirm=YES[:1])
        assert take(session, plan, half, MORNING, gusty).outcome is StepOutcome.ASKS


def test_whoever_starts_the_job_that_runs_is_not_asked(store, plan, gusty):
    with store.writing() as session:
        take(session, plan, STARTED, MORNING, job_steps.nothing_against)
        other = replace(STARTED, by="mate", key="mate's")
        assert take(session, plan, other, MORNING + 60, gusty).outcome is StepOutcome.ALREADY
