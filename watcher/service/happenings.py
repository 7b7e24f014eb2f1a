"""What has happened since a place in the log: for programs that listen, and come back after a gap.

A place is a moment and the number of the last step of a job that was sent. Whoever kept one hears
all that came after it, whatever ended their connection, a restart of the watch included. An event
may come twice after a gap, never not at all.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Self

from sqlalchemy.orm import Session

from watcher.jobs.steps import EVENT_OF
from watcher.store import conditions, jobs, outbox

GOES_BACK_S = 24 * 3600
"""Who was away for longer reads everything anew."""
_OVERLAP_S = 30
"""What is dated by a second may be kept some seconds later."""
_MOST = 500


@dataclass(frozen=True)
class Place:
    """Up to where somebody has heard."""

    at: int
    step: int
    """Number of the newest step of a job."""

    @classmethod
    def of(cls, text: str) -> "Place | None":
        """Read what ``str`` wrote; None for anything else."""
        at, dash, step = text.partition("-")
        known = dash and all(p.isascii() and p.isdecimal() and len(p) < 16 for p in (at, step))
        return cls(int(at), int(step)) if known else None

    @classmethod
    def now(cls, session: Session, now: int) -> Self:
        """Return the place of who has heard all there is."""
        return cls(now, jobs.newest_event(session))

    def __str__(self) -> str:
        return f"{self.at}-{self.step}"


@dataclass(frozen=True)
class Happening:
    """One thing that happened."""

    what: str
    key: str
    """The same one has the same key."""
    content: Mapping[str, Any]


def since(session: Session, place: Place, now: int) -> tuple[Place, list[Happening]] | None:
    """Return what happened since a place, and the place after it; None where that is too much."""
    if not now - GOES_BACK_S <= place.at <= now:
        return None
    from_s = place.at - _OVERLAP_S
    steps = jobs.events_after(session, place.step, _MOST + 1)
    sent = outbox.sent_since(session, from_s, _MOST + 1)
    if len(steps) > _MOST or len(sent) > _MOST:
        return None
    happened = [
        Happening(
            "step",
            f"step {event.id}",
            {"job": event.job_id, "at": event.at, "what": event.what},
        )
        for event in steps
        if event.what in EVENT_OF.values()
    ]
    happened += _conditions(session, from_s)
    happened += [
        Happening(
            "delivered",
            f"sent {message.id}",
            {
                "id": message.short_id,
                "recipient": message.recipient,
                "kind": message.kind,
                "title": message.title,
                "at": message.sent_at,
            },
        )
        for message in sent
    ]
    return Place(now, max((event.id for event in steps), default=place.step)), happened


def _conditions(session: Session, from_s: int) -> Iterator[Happening]:
    for row in conditions.changed_since(session, from_s):
        content = {"subject": row.subject, "kind": row.kind, "since": row.since}
        name = f"{row.subject} {row.kind} {row.since}"
        yield Happening("begun", f"begun {name}", content)
        if row.cleared_at is not None:
            yield Happening("ended", f"ended {name}", content | {"at": row.cleared_at})
