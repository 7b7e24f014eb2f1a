"""What may be started, changed and ended, and what is kept of it."""

import pytest

from tests.support.skies import MORNING
from watcher.farm.models import Origin
from watcher.jobs import book
from watcher.jobs.book import JobNotPlannedError
from watcher.jobs.watch import sprayed_s
from watcher.judge.reasons import Reason
from watcher.judge.status import Limit, Stand
from watcher.store import jobs
from watcher.store.jobs import JobConflictError


@pytest.fixture
def do(store, plan):
    """Run a step of the book in a transaction of its own."""

    def run(step, *args):
        with store.writing() as session:
            return step(session, *args)

    return run


@pytest.fixture
def start(do, plan):
    return lambda field, setup, at=MORNING: do(book.start, plan, field, setup, at)


def test_a_job_is_planned_to_last_as_long_as_the_farm_file_says(start):
    # 39.5 acre at 85 acre/h and one fill of 15 min, by hand: 43 min.
    assert start("hill", "coarse").planned_s == pytest.approx(43 * 60, abs=30)


def test_a_field_cannot_be_started_twice(start):
    start("hill", "coarse")
    with pytest.raises(JobConflictError, match=r"field hill is in job 1 .*finish or abandon"):
        start("hill", "old_coarse")


def test_a_sprayer_cannot_be_on_two_fields(start):
    start("hill", "coarse")
    with pytest.raises(JobConflictError, match="sprayer boom is in job 1 on hill"):
        start("creek_side", "fine")


def test_two_sprayers_work_two_fields(start):
    assert {start("hill", "coarse").id, start("creek_side", "old_coarse").id} == {1, 2}


def test_a_field_can_be_started_again_once_it_is_finished(start, do):
    job = start("hill", "coarse")
    do(jobs.finish, job.id, MORNING + 60)
    assert start("hill", "coarse").id == 2


@pytest.mark.parametrize(
    ("field", "setup", "says"),
    [
        ("moon", "coarse", "no field 'moon'; it has creek_side, hill"),
        ("hill", "hose", "no setup 'hose'; it has fine, coarse, old_coarse"),
    ],
)
def test_what_the_farm_file_does_not_have_is_refused_with_what_it_has(start, field, setup, says):
    with pytest.raises(JobNotPlannedError, match=says):
        start(field, setup)


def test_pauses_do_not_count_as_spraying(start, do):
    job = start("hill", "coarse")
    do(jobs.pause, job.id, MORNING + 600)
    paused = do(jobs.job, job.id)
    assert sprayed_s(paused, MORNING + 5000) == 600
    do(jobs.resume, job.id, MORNING + 5000)
    assert sprayed_s(do(jobs.job, job.id), MORNING + 5300) == 900


def test_with_another_setup_what_is_left_takes_as_long_as_it_takes_now(start, do, plan):
    job = start("hill", "coarse")
    job_half = MORNING + round(job.planned_s / 2)
    changed = do(book.change_setup, plan, job.id, "fine", job_half)
    field, setup = plan.fields.index("hill"), plan.setups.index("fine")
    left = changed.planned_s - sprayed_s(changed, job_half)
    assert changed.setup == "fine"
    assert left == pytest.approx(plan.duration_s[field, setup] / 2, abs=1.0)


def test_a_setup_of_another_sprayer_is_another_job(start, do, plan):
    job = start("hill", "coarse")
    with pytest.raises(JobConflictError, match="of another sprayer than job 1"):
        do(book.change_setup, plan, job.id, "old_coarse", MORNING + 60)


def test_how_limits_stood_is_known_until_the_grower_acts_again(start, do):
    job = start("hill", "coarse")
    assert book.stood(do(jobs.events, job.id)) is None
    wind = Reason(Limit.WIND, Stand.NEAR, 4.0, 1.3, 4.5, Origin.LABEL, 0.1)
    do(book.note_stood, job, [wind], MORNING + 60)
    stood = book.stood(do(jobs.events, job.id))
    assert stood is not None
    assert (stood[Limit.WIND].stand, stood[Limit.WIND].headroom) == (Stand.NEAR, 0.1)
    do(jobs.pause, job.id, MORNING + 70)
    do(jobs.resume, job.id, MORNING + 80)
    events = do(jobs.events, job.id)
    assert book.stood(events) is None
    assert book.taken_in_hand_at(events) == MORNING + 80
