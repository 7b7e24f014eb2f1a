"""Messages waiting to be sent: written with what caused them, taken, sent, marked.

::

    waiting ──claim──► sending ──mark_sent──► sent
       ▲  │               │ ├──mark_failed, no next try──► failed
       │  │               │ └──lease over──► claimed again (its sender died)
       │  └──expire──► expired ◄──expire, lease over──┘
       └──mark_failed, next try──┘

What is promised: once the transaction of ``put`` is kept, the message is sent at least once or
ends in ``failed`` or ``expired``, which can be seen. It is sent twice only when a sender dies
between the sending and ``mark_sent``, or outlives its lease.
"""

import base64
import hashlib
from collections.abc import Callable, Collection
from dataclasses import asdict, dataclass

from sqlalchemy import ColumnElement, and_, bindparam, case, func, or_, select, true, update
from sqlalchemy.orm import Session

from watcher.store.tables import MessageState, Outgoing
from watcher.store.upsert import insert_into

OVERTAKEN = "overtaken by better news"
SUPERSEDED = "said anew since"
_LONGEST_WAIT_S = 3 * 86_400
"""No message is worth sending so long after it was written."""
FAILED_AGAIN_S = 3600
"""What was refused for good is worth another try after so long: the other side may be mended."""


@dataclass(frozen=True)
class NewMessage:
    """A message to one recipient. Times are epoch seconds.

    ``key`` names the news to this recipient: the same key is kept once. ``short_id`` is what the
    reader sees and answers with; messages to several recipients about one thing share it.
    ``caused_at`` is the time of the weather that caused it. After ``expires_at`` it must not be
    sent any more.
    """

    key: str
    short_id: str
    about: str
    kind: str
    recipient: str
    title: str
    body: str
    created_at: int
    caused_at: int
    due_at: int
    urgent: bool = False
    tag: str = ""
    expires_at: int | None = None


def short_id(text: str) -> str:
    """Return five letters and digits that stand for a text; the same ones for the same text."""
    digest = hashlib.blake2s(text.encode(), digest_size=5).digest()
    return base64.b32encode(digest).decode()[:5]


def put(session: Session, message: NewMessage) -> bool:
    """Write a message; return False, and change nothing, when its key is there already."""
    number = session.scalars(
        insert_into(session, Outgoing)
        .values(**asdict(message), state="waiting", attempts=0)
        .on_conflict_do_nothing(index_elements=["farm", "key"])
        .returning(Outgoing.id)
    ).one_or_none()
    return number is not None


def claim(
    session: Session,
    now: int,
    lease_s: int,
    limit: int,
    *,
    recipient: str | None = None,
    only_urgent: bool = False,
) -> list[Outgoing]:
    """Take up to ``limit`` due messages for ``lease_s`` seconds: urgent ones first, then oldest.

    One recipient's only, when one is named: so that one who cannot be reached delays no other.
    Two workers never get the same message. One whose lease is over is taken again by whoever
    asks, with ``attempts`` one higher. Keep the transaction before sending.
    """
    worth = and_(
        or_(Outgoing.expires_at.is_(None), Outgoing.expires_at > now),
        true() if recipient is None else Outgoing.recipient == recipient,
        Outgoing.urgent == true() if only_urgent else true(),
    )
    # Each asked for by itself, so that an index finds the first ones without reading them all.
    found = [
        message
        for takeable in (
            and_(Outgoing.state == "waiting", Outgoing.due_at <= now),
            _lease_over(now),
        )
        for message in session.scalars(
            select(Outgoing)
            .where(takeable, worth)
            .order_by(Outgoing.urgent.desc(), Outgoing.due_at, Outgoing.id)
            .limit(limit)
            # On PostgreSQL; a SQLite writer is alone.
            .with_for_update(skip_locked=True)
        )
    ]
    messages = sorted(found, key=lambda m: (not m.urgent, m.due_at, m.id))[:limit]
    for message in messages:
        message.state = "sending"
        message.attempts += 1
        message.lease_until = now + lease_s
    session.flush()
    return list(messages)


def mark_sent(session: Session, message_id: int, now: int) -> bool:
    """Record that a message left; return False when it is recorded already.

    Holds even when the lease was over or the message was given up meanwhile: it did leave.
    """
    return _change(
        session,
        and_(Outgoing.id == message_id, Outgoing.state != "sent"),
        state="sent",
        sent_at=now,
        lease_until=None,
        last_error=None,
    )


def mark_shown(session: Session, short_id: str, recipient: str, now: int, *, since: int) -> bool:
    """Record that a message was shown, so that it arrived; return False when that is known.

    Whatever became of the attempt to send it: it is not sent again. ``since``: older messages are
    not meant.
    """
    meant = and_(
        Outgoing.short_id == short_id,
        Outgoing.recipient == recipient,
        Outgoing.created_at >= since,
        Outgoing.shown_at.is_(None),
    )
    unsent = and_(meant, Outgoing.state != "sent")
    _change(session, unsent, state="sent", sent_at=now, lease_until=None, last_error=None)
    return _change(session, meant, shown_at=now)


def mark_failed(
    session: Session, message_id: int, attempt: int, error: str, next_due_at: int | None
) -> bool:
    """Record that an attempt failed, and when to try again (None: never).

    Return False, and change nothing, when that attempt does not hold the message any more.
    """
    holds = and_(
        Outgoing.id == message_id, Outgoing.state == "sending", Outgoing.attempts == attempt
    )
    if next_due_at is None:
        return _change(session, holds, state="failed", lease_until=None, last_error=error)
    return _change(
        session,
        holds,
        state="waiting",
        due_at=next_due_at,
        lease_until=None,
        last_error=error,
    )


def expire(session: Session, now: int) -> list[Outgoing]:
    """Give up messages too old to be worth sending; return them, for what is said instead."""
    unsent = or_(Outgoing.state == "waiting", _lease_over(now))
    messages = session.scalars(
        select(Outgoing)
        .where(unsent, Outgoing.expires_at <= now)
        .order_by(Outgoing.id)
        .with_for_update(skip_locked=True)
    ).all()
    for message in messages:
        message.state = "expired"
        message.lease_until = None
    session.flush()
    return list(messages)


def overtake(session: Session, recipient: str, about: str) -> list[Outgoing]:
    """Give up what has not yet been sent to a recipient about a thing; return it, oldest first.

    For what has become untrue: sent late and after better news, it would mislead. Whoever tells
    the news names what was given up.
    """
    messages = session.scalars(
        select(Outgoing)
        .where(
            Outgoing.state == "waiting", Outgoing.recipient == recipient, Outgoing.about == about
        )
        .order_by(Outgoing.id)
        .with_for_update(skip_locked=True)
    ).all()
    for message in messages:
        message.state = "expired"
        message.last_error = OVERTAKEN
    session.flush()
    return list(messages)


def supersede(session: Session, keys: Collection[str], *, since: int = 0) -> None:
    """Give up those of these messages that still wait: a newer one says the same as of now.

    ``since``: older messages are not meant.
    """
    for message in session.scalars(
        select(Outgoing)
        .where(Outgoing.key.in_(keys), Outgoing.state == "waiting", Outgoing.created_at >= since)
        .with_for_update(skip_locked=True)
    ):
        message.state = "expired"
        message.last_error = (
            f"{SUPERSEDED}: {message.last_error}" if message.last_error else SUPERSEDED
        )
    session.flush()


def lost(session: Session, keys: Collection[str], now: int) -> set[str]:
    """Return the keys of those of these messages that were given up and will not arrive.

    One that failed for good counts after ``FAILED_AGAIN_S``: whoever says it anew then does not
    press a receiver that refuses.
    """
    if not keys:
        return set()
    asked = {"keys": list(keys), "since": now - FAILED_AGAIN_S + 1, "until": now}
    return set(session.scalars(_LOST, asked))


def sendings(session: Session, recipient: str, since: int) -> list[int]:
    """Return when messages that could wait were sent to a recipient, those sent together once."""
    return list(
        session.scalars(
            select(Outgoing.sent_at)
            .where(
                Outgoing.recipient == recipient,
                Outgoing.state == "sent",
                Outgoing.urgent.is_(False),
                Outgoing.sent_at >= since,
            )
            .distinct()
            .order_by(Outgoing.sent_at)
        )
    )


def acknowledge(
    session: Session, short_id: str, by: str, now: int, *, since: int = 0
) -> list[Outgoing]:
    """Record who has seen a thing; return the messages about it that nobody had seen by then.

    ``since``: older messages are not meant. Ids are short, so that one may come again.
    """
    seen = session.scalars(
        update(Outgoing)
        .where(
            Outgoing.short_id == short_id,
            or_(Outgoing.acknowledged_at.is_(None), Outgoing.acknowledged_at > now),
            Outgoing.created_at >= since,
        )
        .values(acknowledged_at=now, acknowledged_by=by)
        .returning(Outgoing)
        .execution_options(populate_existing=True)
    ).all()
    return list(seen)


def first_acknowledged(
    session: Session, short_id: str, *, since: int = 0
) -> tuple[int, str] | None:
    """Return when and by whom a thing was first said to be seen; ``since`` as above."""
    found = session.execute(
        select(Outgoing.acknowledged_at, Outgoing.acknowledged_by)
        .where(
            Outgoing.short_id == short_id,
            Outgoing.acknowledged_at.is_not(None),
            Outgoing.created_at >= since,
        )
        .order_by(Outgoing.acknowledged_at, Outgoing.id)
        .limit(1)
    ).one_or_none()
    return None if found is None or found[0] is None else (found[0], found[1] or "")


def of_short_id(
    session: Session, short_id: str, recipient: str, *, since: int = 0
) -> Outgoing | None:
    """Return the newest message of an id, the one to a recipient before those to others.

    ``since``: older messages are not meant, as in ``acknowledge``.
    """
    return session.scalars(
        select(Outgoing)
        .where(Outgoing.short_id == short_id, Outgoing.created_at >= since)
        .order_by((Outgoing.recipient == recipient).desc(), Outgoing.id.desc())
        .limit(1)
    ).one_or_none()


def acknowledged(session: Session, since: int) -> dict[str, int]:
    """Return when something was last acknowledged about each thing messages were about."""
    found = session.execute(_ACKNOWLEDGED, {"since": since})
    return {about: at for about, at in found if at is not None}


def unacknowledged(session: Session, about: str, since: int) -> list[Outgoing]:
    """Return the urgent messages about a thing, written since then, that nobody has seen."""
    return list(
        session.scalars(
            select(Outgoing)
            .where(
                Outgoing.about == about,
                Outgoing.urgent,
                Outgoing.created_at >= since,
                Outgoing.acknowledged_at.is_(None),
            )
            .order_by(Outgoing.id)
        )
    )


def out_of_reach(session: Session, since: int, attempts: int) -> dict[str, str]:
    """Return recipients whose newest tried message did not arrive in so many attempts, and why.

    A refused one counts at once.
    """
    tried = session.scalars(_OUT_OF_REACH, {"since": since, "attempts": attempts})
    return {m.recipient: (m.last_error or "").removeprefix(f"{SUPERSEDED}: ") for m in tried}


def written_since(session: Session, kind: str, since: int) -> bool:
    """Return whether a message of a kind was written since then."""
    found = select(Outgoing.id).where(Outgoing.created_at >= since, Outgoing.kind == kind).limit(1)
    return session.scalars(found).one_or_none() is not None


def newest(session: Session, limit: int) -> list[Outgoing]:
    """Return the newest messages, the newest first, as receipts: what became of each."""
    return list(session.scalars(select(Outgoing).order_by(Outgoing.id.desc()).limit(limit)))


def page_of_newest(session: Session, before: int | None, limit: int) -> list[Outgoing]:
    """Return messages with a number below ``before``, the newest first; all where that is None."""
    earlier = true() if before is None else Outgoing.id < before
    return list(
        session.scalars(select(Outgoing).where(earlier).order_by(Outgoing.id.desc()).limit(limit))
    )


def sent_since(session: Session, since: int, most: int) -> list[Outgoing]:
    """Return the messages that were sent since then, in the order they were."""
    return list(
        session.scalars(
            select(Outgoing)
            .where(Outgoing.created_at >= since - _LONGEST_WAIT_S, Outgoing.sent_at >= since)
            .order_by(Outgoing.sent_at, Outgoing.id)
            .limit(most)
        )
    )


def unsent_since(session: Session, since: int) -> list[Outgoing]:
    """Return the messages written since then that were given up unsent, oldest first."""
    return list(
        session.scalars(
            select(Outgoing)
            .where(
                Outgoing.state.in_(("failed", "expired")),
                Outgoing.created_at >= since,
                Outgoing.last_error.is_distinct_from(OVERTAKEN),
                func.coalesce(Outgoing.last_error, "").not_like(f"{SUPERSEDED}%"),
            )
            .order_by(Outgoing.id)
        )
    )


def counts(session: Session) -> dict[MessageState, int]:
    """Return how many messages are in each state; a state without any is left out."""
    found = session.execute(select(Outgoing.state, func.count()).group_by(Outgoing.state))
    return {row[0]: row[1] for row in found}


def counts_by_recipient(session: Session, since: int) -> list[tuple[str, MessageState, int]]:
    """Return how many messages written since then are in each state, by recipient."""
    found = session.execute(
        select(Outgoing.recipient, Outgoing.state, func.count())
        .where(Outgoing.created_at >= since)
        .group_by(Outgoing.recipient, Outgoing.state)
    )
    return [(row[0], row[1], row[2]) for row in found]


def oldest_unsent(session: Session) -> int | None:
    """Return when the oldest message that is neither sent nor given up was due."""
    unsent = Outgoing.state.in_(("waiting", "sending"))
    oldest: int | None = session.scalars(select(func.min(Outgoing.due_at)).where(unsent)).one()
    return oldest


def waited_for(session: Session) -> set[str]:
    """Return to whom there are messages that are neither sent nor given up."""
    unsent = Outgoing.state.in_(("waiting", "sending"))
    return set(session.scalars(select(Outgoing.recipient).where(unsent).distinct()))


def is_late(
    session: Session,
    now: int,
    recipients: Collection[str],
    *,
    urgent_s: int,
    patient_s: int,
    attempts: int,
) -> bool:
    """Return whether a message to one of these that is due and not sent waits longer than it may.

    ``urgent_s`` from its writing for an urgent one; ``patient_s`` from when it was due for one that
    can wait, or at once after so many ``attempts``, each of which makes it due anew.
    """
    late = or_(
        and_(Outgoing.urgent == true(), Outgoing.created_at < now - urgent_s),
        and_(
            Outgoing.urgent.is_(False),
            or_(Outgoing.due_at < now - patient_s, Outgoing.attempts >= attempts),
        ),
    )
    unsent = and_(Outgoing.state.in_(("waiting", "sending")), Outgoing.recipient.in_(recipients))
    return session.scalars(select(Outgoing.id).where(unsent, late).limit(1)).first() is not None


def clock_went_back(session: Session, now: int, lease_s: int) -> int:
    """Make due what only a clock that was set back holds off; returns how many messages.

    What was written ahead of now was due then; what is held for longer than ``lease_s`` from now
    was taken then, and its sender may have died.
    """
    ahead = and_(Outgoing.state == "waiting", Outgoing.created_at > now, Outgoing.due_at > now)
    held = and_(Outgoing.state == "sending", Outgoing.lease_until > now + lease_s)
    freed = [
        session.scalars(update(Outgoing).where(where).values(values).returning(Outgoing.id)).all()
        for where, values in ((ahead, {"due_at": now}), (held, {"lease_until": now}))
    ]
    return sum(map(len, freed))


def next_due(session: Session, recipient: str, *, only_urgent: bool = False) -> int | None:
    """Return when the next message to a recipient is due, or its sender's lease over."""
    when = case((Outgoing.state == "sending", Outgoing.lease_until), else_=Outgoing.due_at)
    unsent = and_(
        Outgoing.state.in_(("waiting", "sending")),
        Outgoing.recipient == recipient,
        Outgoing.urgent == true() if only_urgent else true(),
    )
    soonest: int | None = session.scalars(select(func.min(when)).where(unsent)).one()
    return soonest


def fail_all_but(
    session: Session, reachable: Collection[str], why: Callable[[str], str]
) -> list[Outgoing]:
    """Give up messages to everyone but the reachable; return them, for what is said instead.

    ``why`` says of a recipient what is wrong.
    """
    messages = session.scalars(
        select(Outgoing)
        .where(Outgoing.state == "waiting", Outgoing.recipient.not_in(reachable))
        .order_by(Outgoing.id)
        .with_for_update(skip_locked=True)
    ).all()
    for message in messages:
        message.state = "failed"
        message.last_error = why(message.recipient)
    session.flush()
    return list(messages)


def _lease_over(now: int) -> ColumnElement[bool]:
    return and_(Outgoing.state == "sending", Outgoing.lease_until <= now)


def _change(session: Session, where: ColumnElement[bool], **values: object) -> bool:
    changed = session.scalars(update(Outgoing).where(where).values(**values).returning(Outgoing.id))
    return bool(changed.all())


# Asked for with every reading: put together once.
_LOST = select(Outgoing.key).where(
    Outgoing.key.in_(bindparam("keys", expanding=True)),
    or_(
        Outgoing.state == "expired",
        and_(
            Outgoing.state == "failed",
            ~Outgoing.created_at.between(bindparam("since"), bindparam("until")),
        ),
    ),
)
_ACKNOWLEDGED = (
    select(Outgoing.about, func.max(Outgoing.acknowledged_at))
    .where(Outgoing.acknowledged_at >= bindparam("since"))
    .group_by(Outgoing.about)
)
_NEWEST_TRIED = (
    select(func.max(Outgoing.id))
    .where(
        Outgoing.attempts > 0,
        Outgoing.created_at >= bindparam("since"),
        Outgoing.state != "sending",
    )
    .group_by(Outgoing.recipient)
)
_OUT_OF_REACH = select(Outgoing).where(
    Outgoing.id.in_(_NEWEST_TRIED),
    Outgoing.last_error.is_distinct_from(OVERTAKEN),
    or_(
        Outgoing.state == "failed",
        and_(
            Outgoing.state.in_(("waiting", "expired")),
            Outgoing.attempts >= bindparam("attempts"),
        ),
    ),
)
