"""What is told when the watch starts and stops."""

import pytest
from sqlalchemy import select

from tests.support.minutes import Minutes
from watcher.alerts import watch_runs
from watcher.store import outbox, runs
from watcher.store.last_known import Loss, OpenJob
from watcher.store.tables import Outgoing


@pytest.fixture
def watch(store, farm):
    return Minutes(store, farm)


def messages(watch, recipient="grower"):
    with watch.store.reading() as session:
        found = select(Outgoing).where(Outgoing.recipient == recipient).order_by(Outgoing.id)
        return list(session.scalars(found))


def begin(watch):
    with watch.store.writing() as session:
        new = watch_runs.tell_start(session, watch.post, watch.now)
        return new, runs.begin(session, watch.now)


def run_for(watch, seconds, *, stopped):
    """A life of the watch that ends properly or not."""
    with watch.store.writing() as session:
        run = runs.begin(session, watch.now)
        watch.now += seconds
        (runs.end if stopped else runs.seen)(session, run, watch.now)


def test_the_first_start_ever_is_no_news(watch):
    assert begin(watch)[0] == 0


def test_a_short_restart_with_nobody_spraying_is_no_news(watch):
    run_for(watch, 600, stopped=True)
    watch.now += 60
    assert begin(watch)[0] == 0


def test_after_a_longer_downtime_it_says_from_when_to_when(watch):
    run_for(watch, 600, stopped=True)
    watch.now += 32 * 60
    assert begin(watch)[0] == 1  # who hears of sources only
    (message,) = messages(watch)
    assert message.title == "Watch was down 11:10 to 11:42"
    assert message.body.splitlines()[:2] == [
        "Nobody watched from 11:10 to 11:42, 32 min. It had been stopped.",
        "It watches again now.",
    ]
    assert not message.urgent


def test_a_crash_while_somebody_sprays_is_told_at_once_however_short(watch):
    watch.start()
    run_for(watch, 600, stopped=False)
    watch.now += 40
    assert begin(watch)[0] == 2  # everyone who hears of jobs
    message = messages(watch)[0]
    assert message.urgent
    assert message.body.splitlines()[:2] == [
        "Nobody watched from 11:10 to 11:10, 40 s. It ended without a proper stop.",
        "creek side was being sprayed and not watched.",
    ]


def test_a_watch_that_keeps_crashing_says_so_once_in_ten_minutes(watch):
    watch.start()
    new = 0
    for _ in range(12):
        run_for(watch, 20, stopped=False)
        watch.now += 10
        new += begin(watch)[0]
    assert new == 2  # once, to two recipients, in six minutes


def test_what_never_arrived_meanwhile_is_named(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    run_for(watch, 0, stopped=False)
    with watch.store.writing() as session:
        outbox.expire(session, watch.now + 3 * 3600)
    watch.now += 3 * 3600
    begin(watch)
    body = messages(watch)[-1].body
    assert "Never arrived: Stop creek side: too windy, 12 mph (11:02, to grower)." in body
    assert "to operator)" in body


def test_the_same_downtime_is_told_once(watch):
    run_for(watch, 600, stopped=True)
    watch.now += 3600
    with watch.store.writing() as session:
        assert watch_runs.tell_start(session, watch.post, watch.now) == 1
        assert watch_runs.tell_start(session, watch.post, watch.now) == 0


def test_a_stop_while_somebody_sprays_is_told_before_the_end(watch):
    watch.start()
    with watch.store.writing() as session:
        assert watch_runs.tell_stop(session, watch.post, watch.now) == 2
    message = messages(watch)[0]
    assert (message.title, message.urgent) == ("Watch stops: creek side", True)


def test_a_stop_with_nobody_spraying_is_silent(watch):
    with watch.store.writing() as session:
        assert watch_runs.tell_stop(session, watch.post, watch.now) == 0


@pytest.mark.parametrize(("by_s", "way"), [(-3600, "back by 60 min"), (86400, "forward by 24 h")])
def test_a_clock_that_jumps_while_somebody_sprays_is_told(watch, by_s, way):
    watch.start()
    with watch.store.writing() as session:
        since = watch.now
        assert watch_runs.tell_clock_jump(session, watch.post, watch.now, by_s, since) == 2
        assert watch_runs.tell_clock_jump(session, watch.post, watch.now + 30, by_s, since) == 0
    assert f"jumped {way}." in messages(watch)[0].body


def test_nobody_hears_of_a_clock_while_nobody_sprays(watch):
    with watch.store.writing() as session:
        assert watch_runs.tell_clock_jump(session, watch.post, watch.now, 3600, watch.now) == 0
        assert watch_runs.tell_clock_set(session, watch.post, watch.now, 3600) == 0
    assert messages(watch) == []


def lost(*fields, at, trouble="damaged"):
    jobs = tuple(
        OpenJob(id=n, field=field, setup="coarse", started_at=at) for n, field in enumerate(fields)
    )
    return Loss(trouble=trouble, found_at=at, known_until=None, watched_until=at, jobs=jobs)


def tell_lost(watch, loss):
    with watch.store.writing() as session:
        return watch_runs.tell_loss(session, watch.post, loss, watch.now)


def test_everyone_hears_of_a_lost_log_and_of_the_same_one_once(watch):
    loss = lost("hill", at=watch.now)
    assert tell_lost(watch, loss) == len(watch.post.speaker.farm.config.recipients)
    watch.now += 30
    assert tell_lost(watch, loss) == 0
    (message,) = messages(watch)
    assert message.urgent
    assert "A job on hill may be running" in message.body


def test_a_lost_log_with_nobody_spraying_can_wait_for_the_morning(watch):
    tell_lost(watch, lost(at=watch.now))
    (message,) = messages(watch)
    assert not message.urgent


def test_the_same_mistakes_are_told_once_until_a_farm_file_was_in_order(watch):
    def tell(*mistakes, checked_at):
        with watch.store.writing() as session:
            return watch_runs.tell_mistakes(session, watch.post, mistakes, checked_at, watch.now)

    everyone = len(watch.post.speaker.farm.config.recipients)
    assert tell("a", checked_at=1) == everyone
    assert tell("a", checked_at=1) == 0
    assert tell("a", "b", checked_at=1) == everyone
    assert tell("a", checked_at=2) == everyone


@pytest.mark.parametrize(("down_s", "said_of"), [(299, 0), (300, 1)])
def test_five_minutes_without_a_watch_are_worth_telling(watch, down_s, said_of):
    run_for(watch, 600, stopped=True)
    watch.now += down_s
    assert begin(watch)[0] == said_of


def test_a_proper_restart_in_a_job_is_told_only_when_it_took_long(watch):
    watch.start()
    run_for(watch, 600, stopped=True)
    watch.now += 299
    assert begin(watch)[0] == 0


@pytest.mark.parametrize(("later_s", "said_of"), [(599, 0), (601, 2)])
def test_another_crash_is_told_ten_minutes_after_the_last(watch, later_s, said_of):
    watch.start()
    run_for(watch, 20, stopped=False)
    assert begin(watch)[0] == 2
    run_for(watch, later_s, stopped=False)
    assert begin(watch)[0] == said_of


@pytest.mark.parametrize("lost_for_good", [True, False])
def test_what_is_wrong_with_the_secrets_is_told_once_a_day(watch, lost_for_good):
    def tell():
        with watch.store.writing() as session:
            return watch_runs.tell_secrets(session, watch.post, [], watch.now, lost=lost_for_good)

    watch.now = watch.now // 86_400 * 86_400
    everyone = len(watch.post.speaker.farm.config.recipients)
    found = []
    for second in (0, 86_399, 86_400):
        watch.now = watch.now // 86_400 * 86_400 + second
        found.append(tell())
    assert found == [everyone, 0, everyone]
    assert messages(watch)[0].urgent is lost_for_good
