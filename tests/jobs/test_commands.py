"""What may be started, changed and ended, and what is kept of it."""

import pytest

from tests.support import job_steps
from tests.support.skies import MORNING
from watcher.jobs import commands
from watcher.jobs.steps import sprayed_s
from watcher.store import jobs


@pytest.fixture
def do(store, plan):
    """Run a step of a job in a transaction of its own."""

    def run(step, *args):
        with store.writing() as session:
            return step(session, *args)

    return run


@pytest.fixture
def start(do, plan):
    return lambda field, setup, at=MORNING: do(job_steps.start, plan, field, setup, at)


def test_a_job_is_planned_to_last_as_long_as_the_farm_file_says(start):
    # 39.5 acre at 85 acre/h and one fill of 15 min, by hand: 43 min.
    assert start("hill", "coarse").planned_s == pytest.approx(43 * 60, abs=30)


def test_a_field_cannot_be_started_twice(start):
    start("hill", "coarse")
    with pytest.raises(AssertionError, match=r"field hill is in job 1 .*finish or abandon"):
        start("hill", "old_coarse")


def test_a_sprayer_cannot_be_on_two_fields(start):
    start("hill", "coarse")
    with pytest.raises(AssertionError, match="sprayer boom is in job 1 on hill"):
        start("creek_side", "fine")


def test_two_sprayers_work_two_fields(start):
    assert {start("hill", "coarse").id, start("creek_side", "old_coarse").id} == {1, 2}


def test_a_field_can_be_started_again_once_it_is_finished(start, do):
    job = start("hill", "coarse")
    do(job_steps.finish, job.id, MORNING + 60)
    assert start("hill", "coarse").id == 2


@pytest.mark.parametrize(
    ("field", "setup", "says"),
    [
        ("moon", "coarse", "no field 'moon'; it has creek_side, hill"),
        ("hill", "hose", "no setup 'hose'; it has fine, coarse, old_coarse"),
    ],
)
def test_what_the_farm_file_does_not_have_is_refused_with_what_it_has(start, field, setup, says):
    with pytest.raises(AssertionError, match=says):
        start(field, setup)


def test_pauses_do_not_count_as_spraying(start, do):
    job = start("hill", "coarse")
    do(job_steps.pause, job.id, MORNING + 600)
    paused = do(jobs.job, job.id)
    assert sprayed_s(paused, MORNING + 5000) == 600
    do(job_steps.resume, job.id, MORNING + 5000)
    assert sprayed_s(do(jobs.job, job.id), MORNING + 5300) == 900


def test_with_another_setup_what_is_left_takes_as_long_as_it_takes_now(start, do, plan):
    job = start("hill", "coarse")
    job_half = MORNING + round(job.planned_s / 2)
    changed = do(job_steps.change_setup, plan, job.id, "fine", job_half)
    field, setup = plan.fields.index("hill"), plan.setups.index("fine")
    left = changed.planned_s - sprayed_s(changed, job_half)
    assert changed.setup == "fine"
    assert left == pytest.approx(plan.duration_s[field, setup] / 2, abs=1.0)


def test_a_setup_of_another_sprayer_is_another_job(start, do, plan):
    job = start("hill", "coarse")
    with pytest.raises(AssertionError, match="of another sprayer than job 1"):
        do(job_steps.change_setup, plan, job.id, "old_coarse", MORNING + 60)


def test_a_job_is_taken_in_hand_when_it_is_begun_and_when_it_goes_on(start, do):
    job = start("hill", "coarse")
    assert commands.taken_in_hand_at(do(jobs.events, job.id)) == MORNING
    do(job_steps.pause, job.id, MORNING + 70)
    do(job_steps.resume, job.id, MORNING + 80)
    assert commands.taken_in_hand_at(do(jobs.events, job.id)) == MORNING + 80


def test_what_the_watch_notes_for_itself_outlives_a_step(start, do):
    job = start("hill", "coarse")
    do(commands.note_wind_strays, job, "mast", 1.5, MORNING + 60)
    do(job_steps.pause, job.id, MORNING + 120)
    assert commands.wind_strays(do(jobs.events, job.id), "mast") == 1.5
