"""The language of a page: English, or another one where the reader's browser asks for it.

What templates say is looked up in the catalogue as it stands. What the rest of the program words,
with numbers and names in it, is looked up by its pattern: "{limit} unknown: no value to rely on"
is an entry of the catalogue, and what stands in its gaps is translated in turn where it can be.
"""

import gettext
import re
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from pathlib import Path

_LOCALE = Path(__file__).parent / "locale"
_DOMAIN = "pages"
OTHERS = ("es",)
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

    def say(self, text: str) -> str:
        """Return a sentence of the program's own wording in this language, as far as it goes."""
        return text if self.code == "en" else _said(self, text)

    @cached_property
    def patterns(self) -> list[tuple[re.Pattern[str], str]]:
        """Entries with gaps, those with most fixed text first: the pattern and the translation."""
        catalog: dict[object, str] = getattr(self.translations, "_catalog", {})
        entries = [
            (told, said)
            for told, said in catalog.items()
            if isinstance(told, str) and said and _GAP.search(told)
        ]
        entries.sort(key=lambda entry: -len(_GAP.sub("", entry[0])))
        return [(_pattern(told), said) for told, said in entries]


@cache
def _tongue(code: str) -> Tongue:
    return Tongue(code)


def _pattern(told: str) -> re.Pattern[str]:
    parts = _GAP.split(told)
    made = [
        re.escape(part) if index % 2 == 0 else f"(?P<{part}>.+?)"
        for index, part in enumerate(parts)
    ]
    return re.compile("".join(made), re.DOTALL)


@lru_cache(maxsize=4096)
def _said(tongue: Tongue, text: str) -> str:
    plain = tongue.translations.gettext(text) if text else text
    if plain != text:
        return plain
    for pattern, said in tongue.patterns:
        found = pattern.fullmatch(text)
        if found:
            return said.format(**{n: _said(tongue, gap) for n, gap in found.groupdict().items()})
    return text
