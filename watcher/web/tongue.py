"""The language of a page: English, or another one where the reader's browser asks for it.

What templates say is looked up in the catalogue as it stands. What the rest of the program words,
with numbers and names in it, is looked up by its pattern: "{limit} unknown: no value to rely on"
is an entry of the catalogue, and what stands in its gaps is translated in turn where it can be.

Entries are written in ``locale/es/LC_MESSAGES/pages.po``; after a change of it
``pybabel compile -d watcher/web/locale -D pages`` makes the file that is read. A test names every
text of the pages that has no entry yet.
"""

import gettext
import re
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from pathlib import Path

from watcher.alerts.wording.words import SHAPES
from watcher.farm.models import Origin
from watcher.judge.status import Limit, Status

_LOCALE = Path(__file__).parent / "locale"
_DOMAIN = "pages"
OTHERS = ("es",)
_AND_THEN = "; "
_GAP = re.compile(r"\{(\w+)\}")
_ASKED = re.compile(r"\s*([A-Za-z]{1,8})(?:-[A-Za-z0-9]+)*\s*(?:;\s*q=([01](?:\.\d{0,3})?))?\s*")


@dataclass(frozen=True)
class Tongue:
    """One language, by its code."""

    code: str

    @classmethod
    def of(cls, accept_language: str) -> "Tongue":
        """Return the language a browser likes best of those there are; English where none is."""
        wanted: dict[str, float] = {}
        for part in accept_language[:500].split(","):
            found = _ASKED.fullmatch(part)
            if found:
                code = found[1].lower()
                wanted[code] = max(float(found[2] or 1.0), wanted.get(code, 0.0))
        known = {code: wanted.get(code, 0.0) for code in ("en", *OTHERS)}
        return _tongue(max(known, key=lambda code: known[code]))

    @cached_property
    def translations(self) -> gettext.NullTranslations:
        return gettext.translation(_DOMAIN, _LOCALE, [self.code], fallback=self.code == "en")

    @cached_property
    def catalog(self) -> dict[str, str]:
        """Every entry and its translation."""
        entries: dict[object, str] = getattr(self.translations, "_catalog", {})
        return {told: said for told, said in entries.items() if isinstance(told, str) and told}

    def say(self, text: str) -> str:
        """Return a sentence of the program's own wording in this language, as far as it goes."""
        return text if self.code == "en" else _said(self, text)

    @cached_property
    def patterns(self) -> list[tuple[re.Pattern[str], str]]:
        """Entries with gaps, those with most fixed text first: the pattern and the translation."""
        entries = [(told, said) for told, said in self.catalog.items() if _GAP.search(told)]
        entries.sort(key=lambda entry: -len(_GAP.sub("", entry[0])))
        return [(_pattern(told), said) for told, said in entries]


@cache
def _tongue(code: str) -> Tongue:
    return Tongue(code)


_QUANTITY = r"unknown|(?:under )?-?(?:[0-9.]+|nan|inf)(?: ?[^\s,;:()0-9][^\s,;:()]*)?"
_NAME = r"[\w.,'()+\-/&%… ]+?"
_POINT = r"[NESW]{1,2}"
_POINTS = rf"{_POINT}(?: to {_POINT})?"
_FORMS = {
    "q": _QUANTITY,
    "n": r"-?[0-9.]+",
    "limit": "|".join(sorted((*Limit, "loss of weed control"), key=len, reverse=True)),
    "origin": "|".join(Origin),
    "status": "|".join(status.word for status in Status),
    "shape": "|".join(re.escape(shape) for shape in SHAPES.values()),
    "side": rf"all round|to the {_POINT}",
    "point": rf"{_POINT}|nobody knows where",
    "points": rf"{_POINTS}(?: or {_POINTS})*",
    "clock": r"(?:[a-zA-Z]+ |[0-9]{2} [A-Z][a-z]{2} )?[0-9]{2}:[0-9]{2}(?: [A-Z]+)?",
    "t": r"[0-9]{2}:[0-9]{2}(?: [A-Z]+)?",
    "who": _NAME,
    "setup": _NAME,
    "list": rf"{_POINT}(?:, {_POINT})*",
    "credit": ".+",
    "more": ".+",
    "rest": ".+",
}
"""What may stand in the gaps of patterns, by the gap's name less its number; else all but a ";"."""
_KEPT = {"credit", "n", "shape", "t", "who", "setup"}
"""Gaps of numbers and of names, which are nobody's to translate."""


def _kind(gap: str) -> str:
    return gap.rstrip("0123456789")


def _pattern(told: str) -> re.Pattern[str]:
    parts = _GAP.split(told)
    made = [
        re.escape(part) if index % 2 == 0 else f"(?P<{part}>{_FORMS.get(_kind(part), '[^;]+?')})"
        for index, part in enumerate(parts)
    ]
    return re.compile("".join(made), re.DOTALL)


@lru_cache(maxsize=4096)
def _said(tongue: Tongue, text: str) -> str:
    found = _looked_up(tongue, text)
    if found is None and text[:1].isupper():
        found = _looked_up(tongue, text[0].lower() + text[1:])
        found = found and found[0].upper() + found[1:]
    if found is None and _AND_THEN in text:
        found = _AND_THEN.join(_said(tongue, part) for part in text.split(_AND_THEN))
    return text if found is None else found


def _looked_up(tongue: Tongue, text: str) -> str | None:
    """The text as an entry or by the first pattern that fits; None where there is neither."""
    catalog = tongue.catalog
    if text in catalog:
        return catalog[text]
    for pattern, said in tongue.patterns:
        found = pattern.fullmatch(text)
        if found:
            gaps = found.groupdict().items()
            told = {n: gap if _kind(n) in _KEPT else _said(tongue, gap) for n, gap in gaps}
            return said.format(**told)
    return None
