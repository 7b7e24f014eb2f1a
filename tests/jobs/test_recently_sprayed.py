"""A field is done once all of it was sprayed, whatever number of jobs that took."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from tests.support import farms, job_steps
from tests.support.skies import MORNING, judged, timeline
from watcher.jobs.recently_sprayed import recently_sprayed
from watcher.messages.words import takes

MINUTE = 60


def _sprayed(session, plan, at, end, **how):
    job = job_steps.start(session, plan, "hill", "coarse", at)
    end(session, job.id, at + 20 * MINUTE, **how)


def test_a_finished_field_is_done(store, plan):
    with store.writing() as session:
        _sprayed(session, plan, MORNING, job_steps.finish)
        assert recently_sprayed(session, plan.farm, MORNING + 3600).done == {"hill"}


def test_what_is_left_of_a_field_is_still_to_be_sprayed(store, plan):
    with store.writing() as session:
        _sprayed(session, plan, MORNING, job_steps.finish, done="40 %")
        lately = recently_sprayed(session, plan.farm, MORNING + 3600)
        assert (lately.done, lately.left) == (frozenset(), {"hill": pytest.approx(0.6)})
        _sprayed(session, plan, MORNING + 3600, job_steps.finish, done="60 %")
        lately = recently_sprayed(session, plan.farm, MORNING + 7200)
        assert (lately.done, lately.left) == ({"hill"}, {})


def test_an_abandoned_field_is_not_done(store, plan):
    with store.writing() as session:
        _sprayed(session, plan, MORNING, job_steps.abandon)
        lately = recently_sprayed(session, plan.farm, MORNING + 3600)
        assert (lately.done, lately.left) == (frozenset(), {})


def test_the_next_job_is_of_what_is_left(store, plan):
    with store.writing() as session:
        _sprayed(session, plan, MORNING, job_steps.finish, done="40 %")
        rest = job_steps.start(session, plan, "hill", "coarse", MORNING + 3600)
        # 39.5 acres at 85 acre/h and one fill of 15 min, by hand: 60 % of 28 min and the fill.
        assert rest.planned_s == pytest.approx(0.6 * 28 * 60 + 900, abs=30)
        changed = job_steps.change_setup(session, plan, rest.id, "fine", MORNING + 3660)
        assert changed.planned_s == pytest.approx(rest.planned_s, abs=1)
        ended = job_steps.finish(session, rest.id, MORNING + 5400)
        assert ended.done_share == pytest.approx(0.6)  # not the whole field
        assert recently_sprayed(session, plan.farm, MORNING + 7200).done == {"hill"}


def test_a_field_sprayed_in_part_is_ranked_with_what_is_left(plan):
    sky = timeline()
    seen = judged(plan.leaving({"hill": 0.6}), sky)[1].every["hill"]
    assert seen.left == 0.6
    assert seen.duration_s == pytest.approx(0.6 * 28 * 60 + 900, abs=30)
    assert str(takes(seen.duration_s, seen.left)) == "32 min for the 60% left"
    assert plan.leaving({"hill": 0.6}) is plan.leaving({"hill": 0.6})
    assert plan.leaving({}) is plan


@pytest.mark.parametrize(
    ("day", "done"),
    [("2026-06-10", True), ("2026-06-04", True), ("2026-06-02", False), ("2026-06-11", False)],
)
def test_a_field_may_be_called_done_without_a_job(store, day, done):
    tables = farms.tables()
    tables["fields"]["hill"]["done_on"] = date.fromisoformat(day)
    now = int(datetime(2026, 6, 10, 11, tzinfo=ZoneInfo("America/Chicago")).timestamp())
    with store.reading() as session:
        found = recently_sprayed(session, farms.build(tables), now).done
    assert found == ({"hill"} if done else set())


def test_a_field_may_be_left_out_for_good(store):
    tables = farms.tables()
    tables["fields"]["hill"]["left_out"] = True
    with store.reading() as session:
        assert recently_sprayed(session, farms.build(tables), MORNING).done == {"hill"}
