"""Read the farm file as far as it can be read, so that all that is wrong is said at once."""

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from watcher.farm.models import FarmFile
from watcher.farm.problems import FarmFileError, Problem, line_and_column
from watcher.farm.validation_messages import Steps, problems_of
from watcher.i18n.language import Language, codes, language
from watcher.i18n.message import Message, Param, say

Read = Callable[[Path], str]
"""Gives the text of a file; raises ``FarmFileError`` where there is none."""
_TABLES = (
    "sprayers",
    "drivers",
    "setups",
    "windows",
    "fields",
    "neighbours",
    "products",
    "sources",
    "recipients",
)
_NO_FARM = {"name": "-", "time_zone": "-", "units": "us"}
"""Stands in for a [farm] that cannot be read; boundaries are then sought where they usually are."""


@dataclass(frozen=True)
class Draft:
    """A farm file under check: ``config`` holds what can be read, ``raw`` all as written.

    When ``problems`` is empty, ``config`` is the whole farm file. ``time_zone`` is None when [farm]
    cannot be read.
    """

    file: Path
    raw: Mapping[str, Any]
    config: FarmFile
    time_zone: str | None
    fields_file: Path
    problems: tuple[Problem, ...]

    def names(self, table: str) -> tuple[str, ...]:
        """Names in a table, of entries that cannot be read too."""
        entries = self.at(table)
        return tuple(entries) if isinstance(entries, dict) else ()

    def at(self, *steps: int | str) -> Any:
        """Return what is written at a place; None where nothing is."""
        place: Any = self.raw
        for step in steps:
            place = place.get(step) if isinstance(place, dict) else None
        return place

    @property
    def language(self) -> Language | None:
        """The language the file names; None where it names none that is known."""
        code = self.at("farm", "language")
        return language(code) if code in codes() else None

    def problem(self, key: Param, wrong: Message, mend: Message) -> Problem:
        """Return a problem of this file."""
        return Problem(self.file, key, wrong, mend)


def read_draft(file: Path, read: Read) -> Draft:
    """Read a farm file. Raises ``FarmFileError`` when it is not readable as TOML at all."""
    raw = _toml(file, read)
    problems: tuple[Problem, ...] = ()
    try:
        config = FarmFile.model_validate(raw)
    except ValidationError as error:
        errors = error.errors()
        problems = problems_of(errors, file)
        config = FarmFile.model_validate(_readable(raw, [e["loc"] for e in errors]))
    boundaries = file.parent / config.farm.fields_file
    zone = None if config.farm.name == _NO_FARM["name"] else config.farm.time_zone
    return Draft(file, raw, config, zone, boundaries, problems)


def _readable(raw: Mapping[str, Any], mistakes: Iterable[Steps]) -> dict[str, Any]:
    """Leave out every entry with a mistake in it, and every table that is none."""
    bad = {steps[:2] for steps in mistakes}
    spoilt = {steps[0] for steps in bad}
    kept: dict[str, Any] = {
        table: {name: entry for name, entry in entries.items() if (table, name) not in bad}
        for table in _TABLES
        if isinstance(entries := raw.get(table, {}), dict)
    }
    for table in ("judging", "brief", "planning"):
        if table in raw and table not in spoilt:
            kept[table] = raw[table]
    kept["farm"] = _NO_FARM if "farm" in spoilt else raw["farm"]
    return {table: {} for table in _TABLES} | kept


def _toml(file: Path, read: Read) -> dict[str, Any]:
    try:
        return tomllib.loads(read(file))
    except tomllib.TOMLDecodeError as error:
        why, _, place = str(error).rstrip(")").rpartition(" (at ")
    at = re.fullmatch(r"line (\d+), column (\d+)", place)  # Python 3.11 has it in the text only
    key = line_and_column(*map(int, at.groups())) if at else say("end of the file")
    wrong = say("this is not TOML: {why}", why=why)
    mend = say("look there for a missing quote, bracket or = sign, or a key written twice")
    raise FarmFileError([Problem(file, key, wrong, mend)])


def text_of(file: Path) -> str:
    """Return a file's text. Raises ``FarmFileError`` when there is none."""
    try:
        return file.read_text(encoding="utf-8-sig")
    except OSError as error:
        wrong = say("cannot be read ({why})", why=str(error.strerror))
        mend = say("check the path and who may read it")
    except UnicodeDecodeError as error:
        wrong = say("is not UTF-8 text (byte {byte})", byte=error.start)
        mend = say("save it as UTF-8")
    raise FarmFileError([Problem(file, "", wrong, mend)])
