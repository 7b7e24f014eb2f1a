"""A recipient who cannot be reached is no secret; better news overtakes what never arrived."""

import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.minutes import Minutes
from watcher.store import outbox
from watcher.store.tables import Outgoing


@pytest.fixture
def watch(store, farm):
    return Minutes(store, farm, topic="job")


def try_to_send(watch, attempts, recipient="operator"):
    """A courier that does not get through to a recipient."""
    for _ in range(attempts):
        with watch.store.writing() as session:
            for message in outbox.claim(session, watch.now, 60, 9, recipient=recipient):
                outbox.mark_failed(
                    session, message.id, message.attempts, "no route to it", watch.now
                )


def send(watch, recipient="operator"):
    with watch.store.writing() as session:
        for message in outbox.claim(session, watch.now, 60, 9, recipient=recipient):
            outbox.mark_sent(session, message.id, watch.now)


def titles(watch, kind):
    with watch.store.reading() as session:
        found = select(Outgoing.title).where(Outgoing.kind == kind, Outgoing.recipient == "grower")
        return list(session.scalars(found))


def test_a_recipient_whose_messages_do_not_arrive_is_told_to_the_others_once(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    try_to_send(watch, 3)
    watch.see(wind_mph=12.0)
    assert titles(watch, "recipient unreachable") == []
    try_to_send(watch, 1)
    watch.see(minutes=5, wind_mph=12.0)
    assert titles(watch, "recipient unreachable") == ["Not reached: operator"]


def test_a_recipient_who_is_reached_again_is_no_longer_out_of_reach(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    try_to_send(watch, 4)
    watch.see(wind_mph=12.0)
    assert watch.raised("recipient:") == {"recipient unreachable"}
    send(watch)
    watch.see(minutes=12, wind_mph=12.0)
    assert watch.raised("recipient:") == set()


def test_an_all_clear_overtakes_the_alert_that_never_arrived_and_names_it(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    watch.see(minutes=11)
    stop, clear = watch.messages()
    assert (stop.kind, stop.state, clear.kind) == ("stop", "expired", "all clear")
    assert "Never arrived: Stop creek side: too windy, 12 mph (11:02)." in clear.body


def test_an_all_clear_leaves_alone_what_did_arrive(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    send(watch, "grower")
    watch.see(minutes=11)
    stop, clear = watch.messages()
    assert stop.state == "sent"
    assert "Never arrived" not in clear.body


def test_while_somebody_sprays_that_a_recipient_is_not_reached_cannot_wait(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    try_to_send(watch, 4)
    watch.see(wind_mph=12.0)
    (heard,) = [m for m in watch.messages() if m.kind == "recipient unreachable"]
    assert heard.urgent


def test_what_was_told_of_a_recipient_before_a_job_is_told_anew_in_it(watch):
    number = watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    try_to_send(watch, 4)
    with watch.store.writing() as session:
        job_steps.finish(session, number, watch.now)
    watch.see(minutes=2)
    assert titles(watch, "recipient unreachable") == ["Not reached: operator"]
    watch.now += 60
    watch.start()
    watch.see(minutes=5)
    assert titles(watch, "recipient unreachable") == ["Not reached: operator"] * 2
