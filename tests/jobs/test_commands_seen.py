"""Who has seen a message first, however often and in what order it is said."""

import pytest

from watcher.jobs.commands import BadStepError, FirstSeen, see
from watcher.store import outbox
from watcher.store.outbox import NewMessage

NOON = 1_781_110_800


def _message(recipient: str, created_at: int = NOON) -> NewMessage:
    return NewMessage(
        key=f"job:1/x/{created_at}/{recipient}",
        short_id="K7QM2",
        about="job:1",
        kind="limit broken",
        recipient=recipient,
        title="",
        body="",
        created_at=created_at,
        caused_at=created_at,
        due_at=created_at,
        urgent=True,
    )


def test_seen_once_is_seen_for_every_recipient_of_the_alert(store):
    with store.writing() as session:
        outbox.put(session, _message("grower"))
        outbox.put(session, _message("operator"))
        assert see(session, "k7qm2", "grower", NOON + 60) == FirstSeen(NOON + 60, "grower", True)
        assert {m.acknowledged_by for m in outbox.newest(session, 9)} == {"grower"}


def test_seen_again_answers_who_saw_it_first(store):
    with store.writing() as session:
        outbox.put(session, _message("grower"))
        see(session, "K7QM2", "grower", NOON + 60)
        assert see(session, "K7QM2", "operator", NOON + 61) == FirstSeen(NOON + 60, "grower", False)


def test_whoever_saw_it_first_has_seen_it_first_however_late_that_comes_in(store):
    with store.writing() as session:
        outbox.put(session, _message("grower"))
        see(session, "K7QM2", "operator", NOON + 61)
        assert see(session, "K7QM2", "grower", NOON + 60) == FirstSeen(NOON + 60, "grower", True)


def test_an_old_message_of_the_same_short_id_is_not_meant(store):
    with store.writing() as session:
        outbox.put(session, _message("grower", NOON - 2 * 86400))
        with pytest.raises(BadStepError, match="no message of the last day"):
            see(session, "K7QM2", "grower", NOON)
