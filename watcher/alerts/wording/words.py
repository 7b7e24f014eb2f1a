"""The small words all texts are made of: names, statuses, times, spans, and the caution."""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from watcher.judge.status import Status

TITLE_ROOM = 40
_NAME_ROOM = 28
_PUNCTUATION_KEPT = frozenset(".,'()+-/&%")

CAUTION = (
    "Guidance only. The label, local law and licensed practice decide. "
    "Take a hand-held reading at boom height before and while you spray."
)
CAUTION_SMS = "Label decides."

# A status is a word and a shape; nothing is told by colour.
SHAPES = {
    Status.SUITABLE: "●",
    Status.MARGINAL: "◐",
    Status.UNSUITABLE: "✕",
    Status.UNKNOWN: "?",
}


@dataclass(frozen=True)
class Text:
    """One thing said, most important first.

    ``title`` fits a lock screen; ``lines`` are its body; only a mail has room for ``more``.
    """

    title: str
    lines: tuple[str, ...]
    more: tuple[str, ...] = ()


def name(told: str, room: int = _NAME_ROOM) -> str:
    """Return a name from a file or a user as plain words that mean nothing to any markup."""
    kept = "".join(c if _is_plain(c) else " " for c in unicodedata.normalize("NFC", told))
    words = " ".join(kept.split())
    return words if len(words) <= room else words[: room - 1].rstrip() + "…"


def _is_plain(character: str) -> bool:
    return character in _PUNCTUATION_KEPT or unicodedata.category(character)[0] in "LNM"


def headline(start: str, items: Sequence[str], room: int = TITLE_ROOM) -> str:
    """Return ``start`` and as many items as fit, then how many more there are."""
    said = start
    for count, item in enumerate(items):
        longer = f"{said}{', ' if count else ' '}{item}"
        left = len(items) - count - 1
        if len(longer) + (len(f" +{left}") if left else 0) > room:
            return f"{said} +{len(items) - count}" if count else cut(longer, room)
        said = longer
    return said


def cut(text: str, room: int) -> str:
    """Return the text, its end cut off where it is longer than the room."""
    return text if len(text) <= room else text[: room - 1].rstrip() + "…"


def ago(seconds: float) -> str:
    """Return how long ago something was: ``"just now"``, ``"12 min ago"``."""
    return "just now" if seconds < 30 else f"{span(seconds)} ago"


def span(seconds: float) -> str:
    """Return a span of time: ``"40 s"``, ``"12 min"``, ``"2.5 h"``, ``"3 days"``."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    if seconds < 90 * 60:
        return f"{seconds / 60:.0f} min"
    if seconds < 72 * 3600:
        return f"{seconds / 3600:.1f}".removesuffix(".0") + " h"
    return f"{seconds / 86400:.0f} days"


def clock(at: int, now: int, zone: ZoneInfo) -> str:
    """Return an instant as the farm's wall clock shows it: ``"10:42"``, ``"tomorrow 05:30"``.

    In the hour a clock change repeats, the zone's abbreviation is added.
    """
    local, today = datetime.fromtimestamp(at, zone), datetime.fromtimestamp(now, zone)
    days = (local.date() - today.date()).days
    day = {0: "", 1: "tomorrow ", -1: "yesterday "}.get(days)
    if day is None:
        day = f"{local:%a} " if abs(days) < 7 else f"{local:%d %b} "
    return f"{day}{local:%H:%M}{f' {local:%Z}' if _told_twice(local) else ''}"


def _told_twice(local: datetime) -> bool:
    return local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()


def lateness(true_at: int, now: int, zone: ZoneInfo) -> str:
    """Return the line a late message begins with."""
    return f"This alert is {span(now - true_at)} late; it was true at {clock(true_at, now, zone)}."


def lateness_sms(true_at: int, now: int, zone: ZoneInfo) -> str:
    """Return the same in fewer letters."""
    return f"{span(now - true_at)} LATE, true {clock(true_at, now, zone)}."


def never_arrived(said: str, true_at: int, now: int, zone: ZoneInfo) -> str:
    """Return the line that names a message overtaken by better news."""
    return f"Never arrived: {said} ({clock(true_at, now, zone)})."


def ask_seen(link: str, form: str) -> str:
    """Return the line that asks for an alert to be acknowledged."""
    return f"Seen: {link}" if form == "sms" else f"Say that you have seen this: {link}"


def not_seen(name_of: str, after_s: float) -> str:
    """Return the line that begins a message to the backup of somebody who did not answer."""
    return f"{name(name_of)} has not acknowledged this for {span(after_s)}."
