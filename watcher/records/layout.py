"""What a page of a record is made of, and how times and quantities are written on it."""

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import Message, Param, ShownQuantity, render, say
from watcher.records.words import WORDS
from watcher.units import Kind, System

UNKNOWN = say("not known")


@dataclass(frozen=True)
class PageTable:
    """A table of the page."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    """Of the columns on paper, relative to each other."""
    note: str = ""
    keys: tuple[str, ...] = ()
    """Keys of the rows, where they can be typed in."""
    behind: bool = False
    """Whether it is what stands behind the record: on paper after the signature."""


Ring = tuple[tuple[float, float], ...]
"""Corners one after the other, in metres east and north of the field's middle."""


@dataclass(frozen=True)
class PageMap:
    """The field as a record shows it: what was sprayed, what was to be left, and the wind."""

    field: tuple[Ring, ...]
    to_leave: tuple[Ring, ...]
    winds: tuple[tuple[str, float], ...]
    """What each arrow is called, and where the wind came from. [degrees]"""
    lines: tuple[str, ...]
    """What the marks mean."""
    beside: tuple[tuple[str, tuple[Ring, ...]], ...] = ()
    """What lies around, by its name."""
    cones: tuple[tuple[str, Ring], ...] = ()
    """Angles of the wind, each with what it is called."""
    half_m: float | None = None
    """How far to each side of the middle the map goes; the field decides when not given."""


@dataclass(frozen=True)
class RecordPage:
    """One record, laid out."""

    title: str
    lines: tuple[str, ...]
    tables: tuple[PageTable, ...]
    seal: str
    """What binds it to the chain: how many entries there are and the head hash."""
    map: PageMap
    signature: tuple[str, ...]
    """What is signed, by whom and when: a line to write on follows each."""
    products: PageTable | None = None
    """The products of the tank, a row each, for paper."""


@dataclass(frozen=True)
class Writer:
    """Writes in one language, times on the farm's clock and quantities in the farm's units."""

    zone: ZoneInfo
    system: System
    language: Language = ENGLISH

    def text(self, text: Param) -> str:
        """Return a text in the language of the page."""
        return render(text, self.language)

    def word(self, kept: str) -> str:
        """Return a word that a record keeps; one that nobody translates as it is."""
        return self.text(WORDS.get(kept, kept))

    def words(self, *texts: Message) -> tuple[str, ...]:
        """Return several texts, such as the head of a table."""
        return tuple(map(self.text, texts))

    def time(self, at: int) -> str:
        """Return a moment: ``"2026-06-10 11:00 CDT"``."""
        return f"{datetime.fromtimestamp(at, self.zone):%Y-%m-%d %H:%M %Z}"

    def amount(self, value: float | None, kind: Kind, decimals: int = 1) -> str:
        """Return a quantity with its unit, or that it is not known."""
        if value is None:
            return self.text(UNKNOWN)
        return self.text(ShownQuantity(value, kind, self.system, decimals))


def utc(at: int) -> str:
    """Return a moment in UTC: ``"2026-06-10 16:00"``."""
    return f"{datetime.fromtimestamp(at, UTC):%Y-%m-%d %H:%M}"
