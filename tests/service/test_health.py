"""Health means: judged, written and delivered within their bounds, by a clock that can be so."""

import pytest

from tests.support import job_steps
from tests.support.farms import build, watched_tables
from tests.support.new_log import new_log
from tests.support.skies import MORNING
from watcher.i18n.language import language
from watcher.service.health import (
    CLOCK_WRONG,
    JUDGED_WITHIN_S,
    NOT_JUDGED,
    NOT_REACHED,
    NOT_SENT,
    WRONG,
    look,
    written_at,
)
from watcher.store import outbox, runs

FARM = build(watched_tables())


@pytest.fixture
def store(tmp_path):
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


def wrong(store, now=MORNING, judged_at=MORNING):
    with store.reading() as session:
        found = look(session, FARM, now=now, judged_at=judged_at)
    assert found.works == (not found.wrong)
    assert found.works or not found.well
    return found.wrong


def put(store, *, at=MORNING, urgent=True, due_at=None, recipient="grower"):
    message = outbox.NewMessage(
        key=f"{at}/{recipient}",
        short_id="ABCDE",
        about="job:1",
        kind="stop",
        recipient=recipient,
        title="",
        body="",
        created_at=at,
        caused_at=at,
        due_at=at if due_at is None else due_at,
        urgent=urgent,
    )
    with store.writing() as session:
        outbox.put(session, message)


def fail(store, times, now=MORNING):
    for _ in range(times):
        with store.writing() as session:
            for message in outbox.claim(session, now, 30, 9):
                outbox.mark_failed(session, message.id, message.attempts, "no route", now)


def test_judged_a_moment_ago_with_nothing_waiting_it_works(store):
    assert wrong(store) == ()


@pytest.mark.parametrize(
    ("judged_at", "works"),
    [
        (None, False),
        (MORNING - JUDGED_WITHIN_S, True),
        (MORNING - JUDGED_WITHIN_S - 1, False),
        (MORNING + 3600, False),
    ],
)
def test_it_must_have_judged_lately_and_not_in_the_future(store, judged_at, works):
    assert (NOT_JUDGED not in wrong(store, judged_at=judged_at)) == works


def test_an_urgent_message_may_wait_for_two_minutes_however_often_it_is_tried(store):
    put(store)
    fail(store, 2, MORNING + 60)
    assert wrong(store, MORNING + 120) == ()
    fail(store, 1, MORNING + 121)
    assert NOT_SENT in wrong(store, MORNING + 121, MORNING + 121)


def test_what_is_held_back_for_quiet_hours_is_not_late(store):
    put(store, urgent=False, due_at=MORNING + 8 * 3600)
    assert wrong(store, MORNING + 7 * 3600, MORNING + 7 * 3600) == ()


def test_a_device_that_nobody_reaches_makes_the_watch_no_worse(store):
    put(store, recipient="device:QWERTY22")
    fail(store, 4)
    assert wrong(store, MORNING + 3 * 3600, MORNING + 3 * 3600) == ()


def test_what_can_wait_is_late_after_two_hours_or_four_attempts(store):
    put(store, urgent=False)
    assert wrong(store, MORNING + 7200, MORNING + 7200) == ()
    assert wrong(store, MORNING + 7201, MORNING + 7201) == (NOT_SENT,)
    fail(store, 4)
    assert wrong(store) == (NOT_SENT,)


def test_nobody_may_be_out_of_reach_while_somebody_sprays(store):
    put(store)
    fail(store, 4)
    with store.writing() as session:
        outbox.expire(session, MORNING + 10**6)
        for message in outbox.claim(session, MORNING, 30, 9):
            outbox.mark_failed(session, message.id, message.attempts, "gone", None)
    assert wrong(store) == ()
    with store.writing() as session:
        job = job_steps.started(
            session, field="hill", setup="coarse", sprayer="boom", at=MORNING, planned_s=600.0
        )
        number = job.id
    assert wrong(store) == (NOT_REACHED,)
    with store.writing() as session:
        job_steps.finish(session, number, MORNING)
    assert wrong(store) == ()


def test_a_clock_before_what_is_written_is_told(store):
    with store.writing() as session:
        runs.begin(session, MORNING + 3600)
    assert wrong(store) == (CLOCK_WRONG,)


def test_another_process_sees_when_a_judgement_was_written(store):
    with store.writing() as session:
        assert written_at(session) is None
        run = runs.begin(session, MORNING)
        runs.seen(session, run, MORNING + 30)
        assert written_at(session) == MORNING + 30
        runs.end(session, run, MORNING + 40)
        assert written_at(session) is None


def test_all_that_can_be_wrong_is_said_in_every_language():
    assert all(line.render(language("es")) != str(line) for line in WRONG)
