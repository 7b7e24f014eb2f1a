"""The languages there are: English, in which texts are written, and one for every catalogue.

A catalogue is one gettext file, ``locale/<code>/LC_MESSAGES/messages.po``. It is compiled when a
text of its language is first asked for, so that a language is that one file and nothing else. Its
header's ``Language`` may name a region (``es_US``), which decides how days, months and decimals
are written.
"""

import gettext
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache, cached_property
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from babel import Locale
    from babel.messages import Catalog

LOCALE = Path(__file__).parent / "locale"
SOURCE = "en"
"""The language in which texts are written in the program."""
_MESSAGES = Path("LC_MESSAGES") / "messages.po"
_ACCEPTED = re.compile(r"\s*([A-Za-z]{1,8})(?:-[A-Za-z0-9]+)*\s*(?:;\s*q=([01](?:\.\d{0,3})?))?\s*")


class UnknownLanguageError(ValueError):
    """There is no catalogue of this language; says which there are."""

    def __init__(self, code: str) -> None:
        super().__init__(f'language "{code}" is not known; there are: {", ".join(codes())}')


@dataclass(frozen=True)
class Language:
    """One language, by its code. Use ``language`` to get one."""

    code: str

    def translate(self, text: str) -> str:
        """Return an entry of the catalogue; the English text where there is none."""
        return text if self.code == SOURCE else self.translations.gettext(text)

    def translate_plural(self, one: str, many: str, count: int) -> str:
        """Return the form of an entry that goes with a number of things."""
        return self.translations.ngettext(one, many, count)

    def number(self, text: str) -> str:
        """Return a number as it is written in English with this language's decimal sign."""
        if self.code == SOURCE:
            return text
        sign = self._locale.number_symbols["latn"]["decimal"]
        return re.sub(r"(?<=\d)\.(?=\d)", lambda _: sign, text)

    def weekday(self, day: datetime) -> str:
        """Return the short name of a day of the week."""
        return str(self._locale.days["format"]["abbreviated"][day.weekday()])

    def day_and_month(self, day: datetime) -> str:
        """Return a day of the year: ``"05 Mar"``."""
        return f"{day:%d} {self._locale.months['format']['abbreviated'][day.month]}"

    @cached_property
    def translations(self) -> gettext.NullTranslations:
        """The catalogue, as gettext has it."""
        if self.code == SOURCE:
            return gettext.NullTranslations()
        from babel.messages.mofile import write_mo  # noqa: PLC0415  # only for other languages

        compiled = BytesIO()
        write_mo(compiled, self.catalog)
        compiled.seek(0)
        return gettext.GNUTranslations(compiled)

    @cached_property
    def catalog(self) -> "Catalog":
        """Every entry of the catalogue, with its translation."""
        from babel.messages.pofile import read_po  # noqa: PLC0415  # only for other languages

        with (LOCALE / self.code / _MESSAGES).open("rb") as file:
            return read_po(file, abort_invalid=True)

    @cached_property
    def _locale(self) -> "Locale":
        from babel import Locale  # noqa: PLC0415  # its data takes memory that few need

        named = SOURCE if self.code == SOURCE else self.catalog.locale_identifier
        return Locale.parse(named or self.code)

    @property
    def name(self) -> str:
        """What it calls itself."""
        return str(self._locale.get_language_name() or self.code)


@cache
def codes() -> tuple[str, ...]:
    """Return the codes of the languages there are, English first."""
    others = (folder.parent.parent.name for folder in LOCALE.glob(f"*/{_MESSAGES}"))
    return (SOURCE, *sorted(others))


@cache
def language(code: str) -> Language:
    """Return the language of a code. Raises UnknownLanguageError where there is none."""
    if code not in codes():
        raise UnknownLanguageError(code)
    return Language(code)


def accepted(accept_language: str) -> Language | None:
    """Return the language an ``Accept-Language`` header likes best of those there are.

    None where it likes none of them.
    """
    wanted: dict[str, float] = {}
    for part in accept_language[:500].split(","):
        found = _ACCEPTED.fullmatch(part)
        if found:
            code = found[1].lower()
            wanted[code] = max(float(found[2] or 1.0), wanted.get(code, 0.0))
    known = {code: wanted[code] for code in codes() if wanted.get(code, 0.0) > 0.0}
    return language(max(known, key=lambda code: known[code])) if known else None


def of_machine(environment: Mapping[str, str]) -> Language:
    """Return the language a process is started with; English where there is none of ours.

    ``WATCHER_LANGUAGE`` before the locale's variables, which name it as ``es_US.UTF-8``.
    """
    for variable in ("WATCHER_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        if named := environment.get(variable):
            code = re.split("[_.@]", named)[0]
            return language(code) if code in codes() else ENGLISH
    return ENGLISH


ENGLISH = language(SOURCE)
