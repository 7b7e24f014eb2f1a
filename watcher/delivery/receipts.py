"""What a device that takes pushes says of them, and the push that tries whether they arrive."""

from collections import Counter

from sqlalchemy.orm import Session

from watcher.delivery.acknowledgement import Seen
from watcher.delivery.addressees import Subscription, is_device
from watcher.i18n.language import Language
from watcher.i18n.message import Message, say
from watcher.messages.forms import Form, shape
from watcher.messages.text import Text
from watcher.store import outbox, tables

_DAY_S = 24 * 3600
TEST_GOOD_FOR_S = 600
_TEST_EVERY_S = 20
_TEST = "test push"


def shown(session: Session, seen: Seen, now: int) -> bool:
    """Note that a device has shown a message; it is not sent again. Returns whether it is new."""
    return outbox.mark_shown(session, seen.ref, seen.recipient, now, since=now - _DAY_S)


def put_test(
    session: Session, recipient: str, says: Message, *, language: Language, form: Form, now: int
) -> str:
    """Write a test to a device or recipient, one in twenty seconds at most; returns its id."""
    key = f"test/{recipient}/{now // _TEST_EVERY_S}"
    text = Text(say("Test of the weather watch"), (says,))
    ref = outbox.short_id(key)
    shaped = shape(text, form, language, ref=ref)
    outbox.put(
        session,
        outbox.NewMessage(
            key=key,
            short_id=ref,
            about=recipient,
            kind=_TEST,
            recipient=recipient,
            title=shaped.title,
            body=shaped.body,
            created_at=now,
            caused_at=now,
            due_at=now,
            expires_at=now + TEST_GOOD_FOR_S,
        ),
    )
    return ref


def fate(session: Session, ref: str, device: Subscription, now: int) -> tuple[bool, Message] | None:
    """Return whether a test has come to its end, and what became of it; None for none of today."""
    row = outbox.of_short_id(session, ref.upper(), device.name, since=now - _DAY_S)
    if row is None or row.recipient != device.name:
        return None
    if row.acknowledged_at is not None:
        return True, say("Answered on this device: pushes arrive, and answers from here count.")
    if row.shown_at is not None:
        return False, say("Shown on this device. Tap “I have seen this” there to try that too.")
    return row.state in {"failed", "expired"}, _not_shown(row)


def fate_at_address(
    session: Session, ref: str, recipient: str, now: int
) -> tuple[bool, Message] | None:
    """Return whether a test to a push address has come to its end, and what became of it.

    None for none of today.
    """
    row = outbox.of_short_id(session, ref.upper(), recipient, since=now - _DAY_S)
    if row is None or row.recipient != recipient or row.kind != _TEST:
        return None
    why = row.last_error or ""
    match row.state:
        case "sent":
            return True, say("Delivered: the push service took it. Look whether it arrived.")
        case "failed":
            return True, say("Refused: it is not tried again ({why}).", why=why)
        case "expired":
            return True, say("Not delivered in time ({why}).", why=why)
    if not why:
        return False, say("Not yet delivered: it is on its way.")
    return False, say("Not yet delivered: it is tried again ({why}).", why=why)


def _not_shown(row: tables.Outgoing) -> Message:
    why = row.last_error or ""
    match row.state:
        case "sent":
            return say("Taken by the push service; this device has not shown it yet.")
        case "failed":
            return say("The push service refused it; it is not tried again ({why}).", why=why)
        case "expired":
            return say("The push service did not take it in time ({why}).", why=why)
    if not why:
        return say("On its way.")
    return say("The push service did not take it yet; it is tried again ({why}).", why=why)


def written_lately(session: Session, now: int) -> Counter[tuple[str, tables.MessageState]]:
    """Count the messages of the last day, by channel ("device" or "url") and state."""
    counts: Counter[tuple[str, tables.MessageState]] = Counter()
    for recipient, state, number in outbox.counts_by_recipient(session, now - _DAY_S):
        counts["device" if is_device(recipient) else "url", state] += number
    return counts
