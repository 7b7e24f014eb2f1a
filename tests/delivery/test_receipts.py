"""What devices say back of a push, and what became of a test."""

from typing import Any

import pytest
from sqlalchemy import select, update

from watcher.delivery.acknowledgement import Seen, linked
from watcher.delivery.addressees import Subscription
from watcher.delivery.receipts import (
    TEST_GOOD_FOR_S,
    fate,
    fate_at_address,
    put_test,
    shown,
    written_lately,
)
from watcher.i18n.language import ENGLISH
from watcher.i18n.message import say
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.tables import Outgoing

NOW = 1_781_110_800
DAY = 86_400
DEVICE = Subscription("https://push.example/a", "{}")


def a_test(store: Database, to: str = DEVICE.name, now: int = NOW) -> str:
    with store.writing() as session:
        return put_test(session, to, say("Hello."), language=ENGLISH, form="push", now=now)


def become(store: Database, **values: Any) -> None:
    with store.writing() as session:
        session.execute(update(Outgoing).values(**values))


def found(store: Database, ref: str, now: int = NOW) -> tuple[bool, str] | None:
    with store.reading() as session:
        end = fate(session, ref, DEVICE, now)
    return None if end is None else (end[0], str(end[1]))


def at_address(store: Database, ref: str, to: str, now: int = NOW) -> tuple[bool, str] | None:
    with store.reading() as session:
        end = fate_at_address(session, ref, to, now)
    return None if end is None else (end[0], str(end[1]))


def test_a_test_is_due_at_once_and_good_for_ten_minutes(store: Database) -> None:
    a_test(store)
    with store.reading() as session:
        row = session.scalars(select(Outgoing)).one()
    assert (row.due_at, row.caused_at, row.expires_at) == (NOW, NOW, NOW + TEST_GOOD_FOR_S)
    assert TEST_GOOD_FOR_S == 600
    assert not row.urgent


def test_one_test_in_twenty_seconds_is_enough(store: Database) -> None:
    start = NOW // 20 * 20
    refs = [a_test(store, now=start + second) for second in (0, 19, 20)]
    assert refs[0] == refs[1] != refs[2]


@pytest.mark.parametrize(
    ("values", "over", "words"),
    [
        ({}, False, "On its way."),
        ({"last_error": "HTTP 503"}, False, "it is tried again (HTTP 503)"),
        ({"state": "sent"}, False, "has not shown it yet"),
        ({"state": "sent", "shown_at": NOW}, False, "Shown on this device"),
        ({"acknowledged_at": NOW}, True, "Answered on this device"),
        ({"state": "failed", "last_error": "HTTP 410"}, True, "refused it"),
        ({"state": "expired", "last_error": "no answer"}, True, "in time (no answer)"),
    ],
)
def test_what_became_of_a_test_to_a_device(
    store: Database, values: dict[str, Any], over: bool, words: str
) -> None:
    ref = a_test(store)
    if values:
        become(store, **values)
    end = found(store, ref.lower())
    assert end is not None
    assert end[0] is over
    assert words in end[1]


@pytest.mark.parametrize(
    ("values", "over", "words"),
    [
        ({}, False, "it is on its way"),
        ({"last_error": "HTTP 503"}, False, "it is tried again (HTTP 503)"),
        ({"state": "sent"}, True, "Delivered"),
        ({"state": "failed", "last_error": "error=404"}, True, "Refused"),
        ({"state": "expired", "last_error": "no answer"}, True, "Not delivered in time"),
    ],
)
def test_what_became_of_a_test_to_a_push_address(
    store: Database, values: dict[str, Any], over: bool, words: str
) -> None:
    ref = a_test(store, "grower")
    if values:
        become(store, **values)
    end = at_address(store, ref, "grower")
    assert end is not None
    assert end[0] is over
    assert words in end[1]
    become(store, kind="stop")
    assert at_address(store, ref, "grower") is None


def test_a_test_is_told_of_for_a_day_and_to_nobody_else(store: Database) -> None:
    ref = a_test(store)
    assert found(store, ref, NOW + DAY) is not None
    assert found(store, ref, NOW + DAY + 1) is None
    other = a_test(store, "grower")
    assert found(store, other) is None
    assert at_address(store, ref, "grower") is None
    assert at_address(store, other, "grower", NOW + DAY) is not None
    assert at_address(store, other, "grower", NOW + DAY + 1) is None


@pytest.mark.parametrize(("later", "counts"), [(DAY, True), (DAY + 1, False)])
def test_what_a_device_shows_or_links_to_is_of_the_last_day(
    store: Database, later: int, counts: bool
) -> None:
    ref = a_test(store)
    with store.writing() as session:
        seen = Seen(ref, DEVICE.name)
        assert (linked(session, seen, NOW + later) is not None) is counts
        assert shown(session, seen, NOW + later) is counts
        assert not shown(session, seen, NOW + later)


def test_messages_of_the_last_day_are_counted_by_channel_and_state(store: Database) -> None:
    a_test(store)
    a_test(store, "grower")
    a_test(store, "operator")
    become(store, state="sent")
    a_test(store, "grower", now=NOW + 60)
    with store.reading() as session:
        now, later = (written_lately(session, NOW + s) for s in (DAY, DAY + 1))
    assert now == {("device", "sent"): 1, ("url", "sent"): 2, ("url", "waiting"): 1}
    assert later == {("url", "waiting"): 1}
    assert outbox.short_id("a") != outbox.short_id("b")
