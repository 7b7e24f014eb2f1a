"""What is told while the watch cannot judge or write: at once, again while it matters, its end."""

import pytest

from tests.support.minutes import Minutes
from watcher.alerts import watch_trouble
from watcher.alerts.watch_trouble import WELL, Trouble
from watcher.store import outbox

BLIND = Trouble("a fault", judges=False)
MUTE = Trouble("the disk is full", writes=False)
CANNOT_JUDGE = "Cannot see: the watch does not judge"
CANNOT_WRITE = "Check: the watch cannot write its log"
SEES = "Watch sees again"


@pytest.fixture
def watch(store, farm):
    return Minutes(store, farm)


def tell(watch, trouble, minutes=1):
    """The titles told while a trouble lasts for so many minutes."""
    before = len(watch.messages())
    for _ in range(minutes):
        watch.now += 60
        with watch.store.writing() as session:
            watch_trouble.tell(session, watch.post, trouble, watch.now)
    return [message.title for message in watch.messages()[before:]]


def test_well_is_no_news(watch):
    watch.start()
    assert tell(watch, WELL, 5) == []


@pytest.mark.parametrize(("trouble", "title"), [(BLIND, CANNOT_JUDGE), (MUTE, CANNOT_WRITE)])
def test_a_trouble_is_told_at_once_and_every_half_hour_while_a_job_runs(watch, trouble, title):
    watch.start()
    assert tell(watch, trouble) == [title]
    assert tell(watch, trouble, 29) == []
    assert tell(watch, trouble, 151) == [title] * 6
    assert tell(watch, WELL, 3) == [SEES]


def test_with_nobody_spraying_it_is_told_once(watch):
    assert tell(watch, BLIND, 300) == [CANNOT_JUDGE]
    assert not watch.messages()[0].urgent


def test_where_nobody_knows_who_sprays_it_is_urgent(watch):
    assert tell(watch, Trouble("gone", judges=False, writes=False, knows_jobs=False)) == [
        CANNOT_JUDGE
    ]
    assert watch.messages()[0].urgent


def test_what_was_seen_is_not_told_again(watch):
    watch.start()
    tell(watch, BLIND)
    with watch.store.writing() as session:
        outbox.acknowledge(session, watch.messages()[0].short_id, "grower", watch.now + 1)
    assert tell(watch, BLIND, 120) == []


def test_of_both_the_graver_is_told_and_then_what_is_left(watch):
    watch.start()
    assert tell(watch, MUTE) == [CANNOT_WRITE]
    both = Trouble("a fault", judges=False, writes=False)
    assert tell(watch, both, 5) == [CANNOT_JUDGE]
    assert tell(watch, MUTE) == [CANNOT_WRITE]
    assert "it judged nothing." in watch.newest()
    assert tell(watch, WELL) == [SEES]
    assert "Running jobs were judged from memory meanwhile." in watch.newest()


def test_a_cycle_of_the_alerts_leaves_it_alone(watch):
    watch.start()
    tell(watch, BLIND)
    watch.see(minutes=3)
    assert watch.raised("watch") == {"watch cannot judge"}
    assert tell(watch, WELL) == [SEES]


def test_what_has_not_arrived_is_overtaken_by_its_end_and_named(watch):
    watch.start()
    tell(watch, BLIND)
    tell(watch, WELL)
    blind, sees = watch.messages()
    assert (blind.state, sees.state) == ("expired", "waiting")
    assert f"Never arrived: {CANNOT_JUDGE}" in sees.body
