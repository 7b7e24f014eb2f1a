"""Which of many fields a page shows: searched for, grouped, and in pages."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal
from urllib.parse import urlencode

from watcher.i18n.message import Message, Name, joined, say
from watcher.judge.ranking import FieldNow
from watcher.limits.status import Status
from watcher.messages.vocabulary import LIMIT_WORDS, STATUS_WORDS
from watcher.messages.words import SHAPES
from watcher.web.context import AppContext

By = Literal["status", "place", "crop"]
FEW = 12
"""So many fields are shown without groups."""
A_PAGE = 20
_MOST_LETTERS = 60
_TOLD = 3


@dataclass(frozen=True)
class FieldQuery:
    """What a visitor looks for: the parameters of the address."""

    q: str = ""
    by: By = "status"
    of: str | None = None
    """The group that is open."""
    page: int = 1

    def link(self, **changed: str | int | None) -> str:
        """Return the address of the same page with some parameters changed."""
        given = {"q": self.q, "by": self.by, "of": self.of, "page": self.page} | changed
        return "?" + urlencode({k: v for k, v in given.items() if v not in (None, "")})


@dataclass(frozen=True)
class FieldGroup:
    """Fields that have something in common."""

    key: str
    shape: str
    word: Message
    fields: Sequence[FieldNow]
    note: Message
    """What is to be said of them while the group is closed."""


def asked(q: str = "", by: str = "", of: str | None = None, page: int = 1) -> FieldQuery:
    """Return what was asked for, as far as it can be understood."""
    known: By = "place" if by == "place" else "crop" if by == "crop" else "status"
    return FieldQuery(q.strip()[:_MOST_LETTERS], known, of, max(1, page))


def searched(context: AppContext, fields: Iterable[FieldNow], q: str) -> list[FieldNow]:
    """Return the fields that have every word in their name, crop, place or spray window."""
    words = q.casefold().split()
    return [seen for seen in fields if all(word in _text(context, seen.field) for word in words)]


def _text(context: AppContext, field: str) -> str:
    plan = context.farm.config.fields[field]
    parts = (field, field.replace("_", " "), plan.crop, plan.location or "", plan.window)
    return " ".join(parts).casefold()


def grouped(context: AppContext, fields: Iterable[FieldNow], by: By) -> list[FieldGroup]:
    """Return the fields in groups, each in the order given; the best status first, else by name."""
    plans = context.farm.config.fields
    keys: dict[By, Callable[[FieldNow], str]] = {
        "status": lambda seen: seen.status.word,
        "place": lambda seen: plans[seen.field].location or "",
        "crop": lambda seen: plans[seen.field].crop,
    }
    found: dict[str, list[FieldNow]] = {}
    for seen in fields:
        found.setdefault(keys[by](seen), []).append(seen)
    if by == "status":
        order = [s.word for s in sorted(Status, reverse=True) if s.word in found]
        return [_of_status(key, found[key]) for key in order]
    return [_of_name(key, found[key]) for key in sorted(found, key=lambda k: (not k, k.casefold()))]


def _of_status(key: str, fields: Sequence[FieldNow]) -> FieldGroup:
    status = fields[0].status
    limits = Counter(seen.binding.limit for seen in fields).most_common(_TOLD)
    counted = joined(joined([LIMIT_WORDS[limit], f"({n})"], " ") for limit, n in limits)
    note = say("decides: {limits}", limits=counted)
    return FieldGroup(key, SHAPES[status], STATUS_WORDS[status], fields, note)


def _of_name(key: str, fields: Sequence[FieldNow]) -> FieldGroup:
    counts = Counter(seen.status for seen in fields)
    note = joined(
        joined([SHAPES[s], str(counts[s]), STATUS_WORDS[s]], " ")
        for s in sorted(counts, reverse=True)
    )
    return FieldGroup(key, "", Name(key) if key else say("no place given"), fields, note)


@dataclass(frozen=True)
class FieldPage:
    """Some of many fields."""

    fields: Sequence[FieldNow]
    number: int
    pages: int


def paged(fields: Sequence[FieldNow], page: int) -> FieldPage:
    """Return one page of fields; the last one for a page that is not there."""
    pages = max(1, -(-len(fields) // A_PAGE))
    number = min(page, pages)
    return FieldPage(fields[(number - 1) * A_PAGE : number * A_PAGE], number, pages)
