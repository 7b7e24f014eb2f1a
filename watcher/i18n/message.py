"""Texts as data: what is said is kept as an English template and what stands in its gaps.

``say("gust {speed}", speed=Quantity(…))`` is a text in no language yet; ``render`` puts it into
one. The template is the entry's name in the catalogues, so it is always written out as a literal
where it is used: that is how extraction finds it. ``str`` of a text is its English.
"""

import re
import unicodedata
from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import reduce
from typing import Literal, Protocol
from zoneinfo import ZoneInfo

from watcher.i18n.language import ENGLISH, Language

NAME_ROOM = 28
"""Letters of a name at most; a name longer than its room ends in "…"."""
_GAP = re.compile(r"\{(\w+)\}")
_PUNCTUATION_KEPT = frozenset(".,'()+-/&%")
_ENDS = (".", "?", "!")


class Message(ABC):
    """A text in no language yet."""

    @abstractmethod
    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        """Return the text in a language, with no name longer than ``names`` letters."""

    def __str__(self) -> str:
        return self.render(ENGLISH)


Param = Message | str | int
"""What may stand in a gap. Plain text is the same in every language: a unit, a path, a token."""


@dataclass(frozen=True)
class Template(Message):
    """An English template and what stands in its ``{gaps}``; made by ``say`` and ``say_n``."""

    template: str
    params: tuple[tuple[str, Param], ...] = ()
    plural: str | None = None
    """The template for any other number of things than one."""
    count: int = 1

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        filled = {gap: render(param, language, names=names) for gap, param in self.params}
        if self.plural is None:
            template, english = language.translate(self.template), self.template
        else:
            template = language.translate_plural(self.template, self.plural, self.count)
            english = self.template if self.count == 1 else self.plural
        if not filled.keys() >= set(_GAP.findall(template)):
            template = english  # a wrong entry of a catalogue must not cost an alert
        return _GAP.sub(lambda gap: filled[gap[1]], template)


@dataclass(frozen=True)
class Joined(Message):
    """Several texts with a separator between them that is the same in every language."""

    items: tuple[Param, ...]
    separator: str = ", "

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        return self.separator.join(render(item, language, names=names) for item in self.items)


@dataclass(frozen=True)
class Sentence(Message):
    """A text with a capital letter first and, unless it ends otherwise, a full stop."""

    text: Message
    stop: str = "."

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        words = self.text.render(language, names=names)
        return words[:1].upper() + words[1:] + ("" if words.endswith(_ENDS) else self.stop)


class Shown(Protocol):
    """What shows a value used inside (SI) in the units of a farm: a kind of quantity."""

    def show(
        self, inside: float, system: Literal["us", "metric"], decimals: int | None = None
    ) -> str:
        """Return the value with its unit as English writes it."""


@dataclass(frozen=True)
class ShownQuantity(Message):
    """A value in the unit used inside (SI), shown in the farm's units: ``"10 mph"``."""

    value: float
    kind: Shown
    system: Literal["us", "metric"]
    decimals: int | None = None

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        return language.number(self.kind.show(self.value, self.system, self.decimals))


@dataclass(frozen=True)
class Number(Message):
    """A number already rounded, with its unit if it has one, as English writes it."""

    digits: str

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        return language.number(self.digits)


@dataclass(frozen=True)
class Name(Message):
    """A name from a file or a user: never translated, nothing but plain letters, never too long."""

    text: str
    room: int = NAME_ROOM

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        return plain_name(self.text, min(self.room, names) if self.room <= NAME_ROOM else self.room)


@dataclass(frozen=True)
class WallTime(Message):
    """An instant as the farm's wall clock shows it: ``"10:42"``, ``"tomorrow 05:30"``.

    In the hour a clock change repeats, the zone's abbreviation is added. Epoch seconds.
    """

    at: int
    now: int
    zone: ZoneInfo

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        local = datetime.fromtimestamp(self.at, self.zone)
        today = datetime.fromtimestamp(self.now, self.zone)
        days = (local.date() - today.date()).days
        time = f"{local:%H:%M}{f' {local:%Z}' if _shown_twice(local) else ''}"
        if days == 0:
            return time
        if days == 1:
            return say("tomorrow {time}", time=time).render(language)
        if days == -1:
            return say("yesterday {time}", time=time).render(language)
        day = language.weekday(local) if abs(days) < 7 else language.day_and_month(local)
        return f"{day} {time}"


@dataclass(frozen=True)
class Weekday(Message):
    """The day of the week of an instant on the farm's clock: ``"Wed"``. Epoch seconds."""

    at: int
    zone: ZoneInfo

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        return language.weekday(datetime.fromtimestamp(self.at, self.zone))


def _shown_twice(local: datetime) -> bool:
    return local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()


def render(text: Param, language: Language, *, names: int = NAME_ROOM) -> str:
    """Return a text in a language; plain text and numbers as they are."""
    return text.render(language, names=names) if isinstance(text, Message) else str(text)


def say(template: str, **params: Param) -> Template:
    """Return the text of a template, which must be a literal, with what stands in its gaps."""
    return Template(template, tuple(params.items()))


def say_n(one: str, many: str, n: int, **params: Param) -> Template:
    """Return a text whose words depend on a number, which stands in the gap ``{n}``."""
    return Template(one, (*params.items(), ("n", n)), plural=many, count=n)


NOTHING = Joined(())
"""No text."""


def joined(items: Iterable[Param], separator: str = ", ") -> Joined:
    """Return texts with a separator between them that is the same in every language."""
    return Joined(tuple(items), separator)


def any_of(items: Sequence[Message]) -> Message:
    """Return alternatives: ``"A or B or C"``."""
    return reduce(
        lambda first, second: say("{first} or {second}", first=first, second=second), items
    )


def all_of(items: Sequence[Message]) -> Message:
    """Return things that belong together: ``"A and B and C"``."""
    return reduce(
        lambda first, second: say("{first} and {second}", first=first, second=second), items
    )


def plain_name(text: str, room: int = NAME_ROOM) -> str:
    """Return a name from a file or a user as plain words that mean nothing to any markup."""
    kept = "".join(c if _is_plain(c) else " " for c in unicodedata.normalize("NFC", text))
    words = " ".join(kept.split())
    return words if len(words) <= room else words[: room - 1].rstrip() + "…"


def _is_plain(character: str) -> bool:
    return character in _PUNCTUATION_KEPT or unicodedata.category(character)[0] in "LNM"
