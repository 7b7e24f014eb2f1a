"""What was sent, as a reader sees it: each thing once, whatever its forms and recipients."""

from collections.abc import Iterable
from urllib.parse import quote

from sqlalchemy.orm import Session

from watcher.store import jobs, outbox
from watcher.store.errors import UnknownJobError
from watcher.store.tables import Outgoing

_PAGES = {"device": "/devices", "plan": "/plan"}


def once(messages: Iterable[Outgoing]) -> list[Outgoing]:
    """Return each thing that was said, once, in its longest form, in the order they were sent."""
    by_length = sorted(messages, key=lambda m: len(m.title) + len(m.body))
    longest = {m.short_id: m for m in by_length}
    return sorted(longest.values(), key=lambda m: m.id)


def unseen(session: Session, about: str, since: int) -> list[Outgoing]:
    """Return what is urgent about a thing, was sent since then, and nobody has seen."""
    return once(outbox.unacknowledged(session, about, since))


def job_of(message: Outgoing) -> int | None:
    """Return the number of the job a message is about."""
    kind, _, which = message.about.partition(":")
    return int(which) if kind == "job" and which.isdecimal() else None


def field_of(session: Session, message: Outgoing) -> str | None:
    """Return the field a message is about, or whose job it is about."""
    job = job_of(message)
    if job is not None:
        try:
            return jobs.job(session, job).field
        except UnknownJobError:
            return None
    kind, _, which = message.about.partition(":")
    return which if kind == "field" else None


def page_of(message: Outgoing) -> str:
    """Return the path of the page that a message is about: its job's, its field's, or the first."""
    job = job_of(message)
    if job is not None:
        return f"/jobs/{job}"
    kind, _, which = message.about.partition(":")
    if kind in _PAGES:
        return _PAGES[kind]
    return f"/fields/{quote(which, safe='')}" if kind == "field" and which else "/"
