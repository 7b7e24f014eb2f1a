"""The chain through all entries of the records: each one's hash covers the one before it.

The canonical form is RFC 8785 (JSON Canonicalization Scheme) in UTF-8, the hash SHA-256 in lower
case hexadecimal, so that anyone can check it without this program:

* ``content_sha256`` is the hash of an entry's content in canonical form;
* ``hash`` is the hash of the canonical form of the object with the members ``at``, ``by``,
  ``content_sha256``, ``job`` (null for the account of an incident), ``kind``, ``number`` and
  ``previous``;
* ``number`` counts from 1 without a gap, and ``previous`` is the ``hash`` of the entry before, 64
  zeros before the first.

What the content hash is for: an entry can be passed on without its content, and the chain can still
be checked from end to end. (Whoever guesses a short content right can tell so from its hash.)
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import rfc8785

from watcher.i18n.message import say

FIRST = "0" * 64
"""What the first entry follows."""
WHAT_IT_SHOWS = say(
    "An unbroken chain shows that no entry was changed, removed, added or moved since the head "
    "hash was noted elsewhere: on paper, in a mail, with an adviser. It does not show that what "
    "was written is true; and whoever owns this machine could write the whole chain anew, or cut "
    "off its end, which only a head hash noted elsewhere brings to light."
)


@dataclass(frozen=True)
class Link:
    """An entry without its content: what the chain is made of."""

    number: int
    job: int | None
    kind: str
    at: int
    by: str
    content_sha256: str
    previous: str
    hash: str


@dataclass(frozen=True)
class Break:
    """The first entry that does not fit, and why."""

    number: int
    why: str


@dataclass(frozen=True)
class Verdict:
    """What checking a chain found: the sound entries, the last one's hash, and what is wrong."""

    count: int
    head: str | None
    broken: Break | None


def canonical(value: Any) -> str:
    """Return a JSON value in canonical form. Raises ValueError for what JSON cannot hold."""
    return rfc8785.dumps(value).decode()


def sha256(text: object) -> str:
    """Return the hash of a text in UTF-8."""
    return hashlib.sha256(str(text).encode(errors="surrogatepass")).hexdigest()


def linked(
    *, after: Link | None, job: int | None, kind: str, at: int, by: str, content_sha256: str
) -> Link:
    """Return the link of a new entry after another one; ``after`` None begins the chain."""
    link = Link(
        number=1 if after is None else after.number + 1,
        job=job,
        kind=kind,
        at=at,
        by=by,
        content_sha256=content_sha256,
        previous=FIRST if after is None else after.hash,
        hash="",
    )
    return Link(**{**link.__dict__, "hash": hash_of(link)})


def hash_of(link: Link) -> str:
    """Return the hash an entry must have. Raises ValueError where no entry can be like that."""
    covered = {name: value for name, value in link.__dict__.items() if name != "hash"}
    return sha256(canonical(covered))


def check(links: Iterable[Link | None], noted: str | None = None) -> Verdict:
    """Check a chain from its first entry on. None stands for an entry that cannot be read.

    ``noted`` is a head hash noted earlier, which must still be in the chain.
    """
    before, met = _BEFORE_ALL, noted is None
    for link in links:
        why = "it cannot be read any more" if link is None else _misfit(before, link)
        if link is None or why:
            return Verdict(before.number, _head(before), Break(before.number + 1, why))
        before, met = link, met or link.hash == noted
    broken = None if met else Break(before.number, _NOT_MET)
    return Verdict(before.number, _head(before), broken)


_BEFORE_ALL = Link(0, 0, "", 0, "", "", "", FIRST)
_NOT_MET = (
    "the head hash that was noted is not in the chain: entries after it were removed, or all were "
    "written anew"
)


def _head(last: Link) -> str | None:
    return None if last is _BEFORE_ALL else last.hash


def _misfit(before: Link, link: Link) -> str:
    if link.number != before.number + 1:
        return f"it is missing, or its number was changed: {link.number!r} comes next"
    if link.previous != before.hash:
        return "it does not follow the entry before it: one of the two was changed or put in"
    try:
        sound = link.hash == hash_of(link)
    except ValueError:
        sound = False
    return "" if sound else "what it holds is not what it was sealed with"
