"""Entries of the records, written after the newest one and read back; and the chain checked."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from watcher.records.chain import Link, Verdict, canonical, check, linked, sha256
from watcher.store import records as store
from watcher.store.tables import RecordEntry


@dataclass(frozen=True)
class Entry:
    """One entry. ``text`` is its content in canonical form."""

    link: Link
    text: str

    @cached_property
    def content(self) -> dict[str, Any]:
        """What it holds."""
        content: dict[str, Any] = json.loads(self.text)
        return content


def write(
    session: Session, *, job: int | None, kind: str, at: int, by: str, content: dict[str, Any]
) -> Entry:
    """Write an entry after the newest one; nobody else writes one until the transaction ends."""
    newest = store.last_entry(session, hold=True)
    text = canonical(content)
    link = linked(
        after=None if newest is None else _link(newest),
        job=job,
        kind=kind,
        at=at,
        by=by,
        content_sha256=sha256(text),
    )
    store.add_entry(session, _row(link, text))
    return Entry(link, text)


def entries(session: Session, job: int | None = None) -> Iterator[Entry]:
    """Yield the entries of a job, or of all jobs, in order."""
    return (Entry(_link(row), row.content) for row in store.entries(session, job))


def of_no_job(session: Session, kind: str) -> list[Entry]:
    """Return the entries of a kind that are of no job, in order."""
    return [Entry(_link(row), row.content) for row in store.of_no_job(session, kind)]


def hold(session: Session) -> None:
    """Let nobody else write an entry until the transaction ends."""
    store.last_entry(session, hold=True)


def head(session: Session) -> Link | None:
    """Return the newest entry's link."""
    newest = store.last_entry(session)
    return None if newest is None else _link(newest)


def verify(session: Session, noted: str | None = None) -> Verdict:
    """Check the whole chain; ``noted`` is an earlier head hash that must still be in it."""
    return check(_links(session), noted)


def _links(session: Session) -> Iterator[Link | None]:
    try:
        # One by one: of a batch with an unreadable entry even the good ones are not given.
        for row in store.entries(session, at_once=1):
            yield _link(row)
    except DBAPIError:  # bytes that are no text any more
        yield None


def _link(row: RecordEntry) -> Link:
    return Link(
        number=row.number,
        job=row.job_id,
        kind=row.kind,
        at=row.at,
        by=row.by,
        content_sha256=sha256(row.content),
        previous=row.previous,
        hash=row.hash,
    )


def _row(link: Link, text: str) -> RecordEntry:
    return RecordEntry(
        number=link.number,
        job_id=link.job,
        kind=link.kind,
        at=link.at,
        by=link.by,
        content=text,
        previous=link.previous,
        hash=link.hash,
    )
