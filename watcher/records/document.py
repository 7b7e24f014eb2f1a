"""Records as one JSON document that can be checked by itself, byte for byte.

The document is ``{"document": …, "sha256": …}`` in canonical form (RFC 8785) and a line end;
``sha256`` is the hash of the canonical form of what is under ``document``. That holds the chain
from its first entry to its head. Entries of jobs that were not asked for are there without their
content, so that one client's record can be passed on without the others'.
"""

import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import Any

from pydantic import BaseModel, ConfigDict, TypeAdapter

from watcher.i18n.message import say
from watcher.messages.words import CAUTION
from watcher.records.chain import (
    WHAT_IT_SHOWS,
    Break,
    Link,
    Verdict,
    canonical,
    check,
    sha256,
)
from watcher.records.errors import RecordError
from watcher.records.form import label, split, unit
from watcher.records.journal import Entry
from watcher.records.record import Record, fold

FORMAT = "application records 1"


class _Written(BaseModel):
    """An entry as the document has it: with its content, or only its hash."""

    model_config = ConfigDict(extra="forbid", strict=True)

    number: int
    job: int | None
    kind: str
    at: int
    by: str
    previous: str
    hash: str
    content: dict[str, Any] | None = None
    content_sha256: str | None = None

    @property
    def text(self) -> str | None:
        """The content in canonical form."""
        return None if self.content is None else canonical(self.content)

    @property
    def link(self) -> Link:
        """The entry's link; its content is hashed anew."""
        hashed = str(self.content_sha256) if self.text is None else sha256(self.text)
        return Link(
            number=self.number,
            job=self.job,
            kind=self.kind,
            at=self.at,
            by=self.by,
            content_sha256=hashed,
            previous=self.previous,
            hash=self.hash,
        )


def write_document(
    entries: Iterable[Entry], jobs: Sequence[int], also: Collection[int] = ()
) -> bytes:
    """Return the document of the records of some jobs. ``entries`` is the whole chain.

    ``also`` are numbers of entries that are there with their content too: accounts of incidents.
    """
    chain = list(entries)
    records = [fold(job, (e for e in chain if e.link.job == job)) for job in jobs]
    document = {
        "format": FORMAT,
        "caution": str(CAUTION),
        "what_the_chain_shows": str(WHAT_IT_SHOWS),
        "units": "SI: values in the unit stated, weather in the unit its name ends in, times UTC "
        "epoch seconds",
        "head": chain[-1].link.hash if chain else None,
        "entries": [
            _entry(e, with_content=e.link.job in jobs or e.link.number in also) for e in chain
        ],
        "records": [_record(record) for record in records],
    }
    return _bytes(document)


def check_document(data: bytes, noted: str | None = None) -> Verdict:
    """Check a document that was written here; ``noted`` is a head hash that must be in it.

    A break at entry 0 is one of the document around the entries. Raises RecordError for what is no
    such document at all.
    """
    document = _read(data)
    try:
        entries = TypeAdapter(list[_Written]).validate_python(document["entries"])
        verdict = check((entry.link for entry in entries), noted)
        if verdict.broken is None and (why := _misfit(data, document, entries)):
            verdict = replace(verdict, broken=Break(0, why))
    except (KeyError, TypeError, ValueError, RecordError) as error:
        return Verdict(0, None, Break(0, f"it cannot be read any more ({type(error).__name__})"))
    return verdict


def _misfit(data: bytes, document: dict[str, Any], entries: Sequence[_Written]) -> str:
    if data != _bytes(document):
        return "it is not, byte for byte, what its own hash was made of"
    if document["head"] != (entries[-1].hash if entries else None):
        return "its head is not the hash of its last entry"
    shown = document["records"]
    if canonical(shown) != canonical([_shown(entries, record["job"]) for record in shown]):
        return "the records it shows are not what its entries say"
    return ""


def _bytes(document: dict[str, Any]) -> bytes:
    text = canonical({"document": document, "sha256": sha256(canonical(document))})
    return text.encode() + b"\n"


def _read(data: bytes) -> dict[str, Any]:
    try:
        document = json.loads(data)["document"]
        version = document["format"]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise RecordError(
            say(
                "this is not a JSON export of records, or it was changed; write it anew with "
                "watcher record export --format json"
            )
        ) from None
    if version != FORMAT:
        raise RecordError(
            say(
                'this document is "{version}", not "{known}": another version wrote it',
                version=str(version),
                known=FORMAT,
            )
        )
    return document  # type: ignore[no-any-return]


def _entry(entry: Entry, *, with_content: bool) -> dict[str, Any]:
    fields = dict(entry.link.__dict__)
    if with_content:
        del fields["content_sha256"]
        fields["content"] = entry.content
    return fields


def _shown(entries: Sequence[_Written], job: int) -> dict[str, Any]:
    own = (Entry(e.link, e.text) for e in entries if e.job == job and e.text is not None)
    return _record(fold(job, own))


def _record(record: Record) -> dict[str, Any]:
    """What stands now: for whoever reads the records, not the chain."""
    return {
        "job": record.job,
        "field": record.kept.field if record.kept else None,
        "closed": record.closed is not None,
        "corrections": len(record.corrections),
        "values": {
            key: {
                "label": label(key),
                "value": held.value,
                "unit": unit(split(key)[0]),
                "told_by": held.origin,
            }
            for key, held in record.values.items()
        },
    }
