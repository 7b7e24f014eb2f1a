"""Messages are kept once, taken by one sender at a time, and never lost."""

import threading
from collections.abc import Callable
from dataclasses import replace

import pytest

from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.outbox import NewMessage
from watcher.store.tables import Outgoing

NOW = 1_700_000_000


def a_message(key: str = "north field:wind:phone", **changes: object) -> NewMessage:
    plain = NewMessage(
        key=key,
        short_id=outbox.short_id(key),
        about="north field",
        kind="wind",
        recipient="phone",
        title="North field",
        body="The wind is over its limit.",
        created_at=NOW,
        caused_at=NOW - 60,
        due_at=NOW,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def put(log: Database, *messages: NewMessage) -> None:
    with log.writing() as session:
        for message in messages:
            assert outbox.put(session, message)


def claim(log: Database, now: int = NOW, lease_s: int = 60, limit: int = 10) -> list[Outgoing]:
    with log.writing() as session:
        return outbox.claim(session, now, lease_s, limit)


def states(log: Database) -> dict[str, int]:
    with log.reading() as session:
        return dict(outbox.counts(session))


def test_a_message_comes_back_as_it_was_put(log: Database) -> None:
    written = a_message(urgent=True, tag="family", expires_at=NOW + 600)
    put(log, written)
    [message] = claim(log)
    assert {name: getattr(message, name) for name in vars(written)} == vars(written)
    assert (message.state, message.attempts, message.lease_until) == ("sending", 1, NOW + 60)


def test_the_same_key_is_kept_once(log: Database) -> None:
    put(log, a_message())
    with log.writing() as session:
        assert not outbox.put(session, a_message(body="Said differently."))
    [message] = claim(log)
    assert message.body == "The wind is over its limit."


def test_what_was_rolled_back_was_never_put(log: Database) -> None:
    def put_and_fall() -> None:
        with log.writing() as session:
            outbox.put(session, a_message())
            raise RuntimeError("the power went")

    with pytest.raises(RuntimeError):
        put_and_fall()
    assert states(log) == {}


def test_urgent_messages_are_taken_first_then_the_oldest(log: Database) -> None:
    put(
        log,
        a_message("later", due_at=NOW - 1),
        a_message("earlier", due_at=NOW - 9),
        a_message("urgent", due_at=NOW, urgent=True),
    )
    assert [m.key for m in claim(log, limit=2)] == ["urgent", "earlier"]
    assert [m.key for m in claim(log, limit=2)] == ["later"]


def test_messages_to_one_recipient_can_be_taken_alone(log: Database) -> None:
    put(log, a_message("a"), a_message("b", recipient="mail"))
    with log.writing() as session:
        assert [m.key for m in outbox.claim(session, NOW, 60, 10, recipient="mail")] == ["b"]
        assert outbox.claim(session, NOW, 60, 10, recipient="nobody") == []
    assert [m.key for m in claim(log)] == ["a"]


def test_the_next_message_is_due_by_its_time_or_when_its_sender_is_given_up(log: Database) -> None:
    put(log, a_message("a", due_at=NOW + 500), a_message("b", recipient="mail"))

    def next_due(recipient: str) -> int | None:
        with log.reading() as session:
            return outbox.next_due(session, recipient)

    assert (next_due("phone"), next_due("mail"), next_due("nobody")) == (NOW + 500, NOW, None)
    [message] = claim(log, NOW, lease_s=60)
    assert next_due("mail") == NOW + 60
    with log.writing() as session:
        outbox.mark_sent(session, message.id, NOW + 1)
    assert next_due("mail") is None


def test_a_message_from_before_the_clock_was_set_back_is_due(log: Database) -> None:
    put(log, a_message(created_at=NOW + 600, due_at=NOW + 600))
    with log.writing() as session:
        assert outbox.clock_went_back(session, NOW, 60) == 1
    assert len(claim(log, NOW)) == 1


def test_a_message_held_from_before_the_clock_was_set_back_is_free_again(log: Database) -> None:
    put(log, a_message())
    claim(log, NOW + 3600)  # by a sender that died
    with log.writing() as session:
        assert outbox.clock_went_back(session, NOW, 60) == 1
    assert len(claim(log, NOW)) == 1


def test_messages_to_somebody_who_is_no_recipient_any_more_fail_and_say_so(log: Database) -> None:
    put(log, a_message("a"), a_message("b", recipient="mail"), a_message("c", recipient="mail"))
    with log.writing() as session:
        [being_sent] = outbox.claim(session, NOW, 60, 1, recipient="mail")
        given_up = outbox.fail_all_but(session, ["phone"], "{} is not in the farm file".format)
        assert [(m.key, m.last_error) for m in given_up] == [("c", "mail is not in the farm file")]
    assert being_sent.key == "b"
    assert states(log) == {"waiting": 1, "sending": 1, "failed": 1}


def test_a_message_is_not_taken_before_it_is_due(log: Database) -> None:
    put(log, a_message(due_at=NOW + 1))
    assert claim(log, NOW) == []
    assert len(claim(log, NOW + 1)) == 1


def test_a_taken_message_is_taken_again_only_when_its_lease_is_over(log: Database) -> None:
    put(log, a_message())
    claim(log, NOW, lease_s=60)
    assert claim(log, NOW + 59) == []
    [message] = claim(log, NOW + 60)
    assert message.attempts == 2


def test_a_sent_message_is_never_taken_again(log: Database) -> None:
    put(log, a_message())
    [message] = claim(log)
    with log.writing() as session:
        assert outbox.mark_sent(session, message.id, NOW + 2)
        assert not outbox.mark_sent(session, message.id, NOW + 3)
    assert claim(log, NOW + 10_000) == []
    assert states(log) == {"sent": 1}


def test_a_message_that_left_counts_as_sent_even_after_its_lease(log: Database) -> None:
    put(log, a_message())
    [slow] = claim(log, NOW, lease_s=60)
    claim(log, NOW + 60)
    with log.writing() as session:
        assert outbox.mark_sent(session, slow.id, NOW + 70)
    assert claim(log, NOW + 10_000) == []


def test_a_failed_attempt_is_tried_again_when_told(log: Database) -> None:
    put(log, a_message())
    [message] = claim(log)
    with log.writing() as session:
        assert outbox.mark_failed(session, message.id, 1, "no network", NOW + 30)
    assert claim(log, NOW + 29) == []
    [again] = claim(log, NOW + 30)
    assert (again.attempts, again.last_error) == (2, "no network")


def test_a_message_given_up_stays_and_says_why(log: Database) -> None:
    put(log, a_message())
    [message] = claim(log)
    with log.writing() as session:
        assert outbox.mark_failed(session, message.id, 1, "no such number", None)
    assert claim(log, NOW + 10_000) == []
    with log.reading() as session:
        kept = session.get_one(Outgoing, (message.farm, message.id))
        assert (kept.state, kept.last_error) == ("failed", "no such number")


def test_a_sender_that_lost_its_lease_cannot_fail_the_message(log: Database) -> None:
    put(log, a_message())
    [slow] = claim(log, NOW, lease_s=60)
    [quick] = claim(log, NOW + 60)
    with log.writing() as session:
        assert not outbox.mark_failed(session, slow.id, slow.attempts, "too late", None)
        assert outbox.mark_sent(session, quick.id, NOW + 61)
        assert not outbox.mark_failed(session, quick.id, quick.attempts, "too late", None)
    assert states(log) == {"sent": 1}


def test_stale_advice_is_expired_not_sent(log: Database) -> None:
    put(log, a_message("stale", expires_at=NOW + 10), a_message("lasting"))
    assert [m.key for m in claim(log, NOW + 10)] == ["lasting"]
    with log.writing() as session:
        assert [m.key for m in outbox.expire(session, NOW + 10)] == ["stale"]
        assert outbox.expire(session, NOW + 10) == []
    assert states(log) == {"sending": 1, "expired": 1}


def test_a_message_being_sent_is_not_expired_under_its_sender(log: Database) -> None:
    put(log, a_message(expires_at=NOW + 10))
    claim(log, NOW, lease_s=60)
    with log.writing() as session:
        assert outbox.expire(session, NOW + 59) == []
        assert len(outbox.expire(session, NOW + 60)) == 1


def test_an_answer_acknowledges_every_message_about_the_thing_once(log: Database) -> None:
    put(
        log,
        a_message("a", short_id="K3F9Q"),
        a_message("b", short_id="K3F9Q", recipient="mail"),
        a_message("c", short_id="OTHER"),
    )
    with log.writing() as session:
        assert len(outbox.acknowledge(session, "K3F9Q", "the grower", NOW + 5)) == 2
        assert outbox.acknowledge(session, "K3F9Q", "somebody else", NOW + 6) == []
    seen = {m.key: (m.acknowledged_by, m.acknowledged_at) for m in claim(log)}
    assert seen == {
        "a": ("the grower", NOW + 5),
        "b": ("the grower", NOW + 5),
        "c": (None, None),
    }


def test_the_oldest_unsent_message_tells_how_far_behind_we_are(log: Database) -> None:
    with log.reading() as session:
        assert outbox.oldest_unsent(session) is None
    put(log, a_message("old", due_at=NOW - 500), a_message("new", due_at=NOW))
    with log.reading() as session:
        assert outbox.oldest_unsent(session) == NOW - 500
    for message in claim(log, limit=1):
        with log.writing() as session:
            outbox.mark_sent(session, message.id, NOW)
    with log.reading() as session:
        assert outbox.oldest_unsent(session) == NOW


def test_short_ids_are_five_signs_and_stay_the_same() -> None:
    assert outbox.short_id("north field") == outbox.short_id("north field")
    ids = {outbox.short_id(f"field {number}") for number in range(1000)}
    assert len(ids) > 990
    assert all(len(one) == 5 and one.isalnum() for one in ids)


def test_two_senders_never_get_the_same_message(
    log: Database, url: str, open_log: Callable[..., Database]
) -> None:
    put(log, *(a_message(f"message {number}") for number in range(120)))
    taken: list[str] = []
    both_ready = threading.Barrier(2)

    def sender(own: Database) -> None:
        both_ready.wait()
        while messages := claim(own, limit=3):
            taken.extend(message.key for message in messages)

    # Logs of their own, as if they were two programs.
    senders = [threading.Thread(target=sender, args=(open_log(url),)) for _ in range(2)]
    for thread in senders:
        thread.start()
    for thread in senders:
        thread.join()
    assert sorted(taken) == sorted(f"message {number}" for number in range(120))


def test_a_sender_does_not_wait_for_messages_another_one_is_taking(
    server_url: str, open_log: Callable[..., Database]
) -> None:
    log, hasty = open_log(server_url), open_log(server_url, busy_s=1)
    put(log, a_message("first"), a_message("second"))
    with log.writing() as session:
        assert [m.key for m in outbox.claim(session, NOW, 60, 1)] == ["first"]
        assert [m.key for m in claim(hasty, limit=5)] == ["second"]
