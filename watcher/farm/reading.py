"""Read the farm file as far as it can be read, so that all that is wrong is said at once."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from watcher.farm.models import FarmFile
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.slips import Steps, problem_of

_TABLES = (
    "sprayers",
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
    """A farm file under check: ``told`` holds the entries that can be read, ``raw`` all as written.

    When ``problems`` is empty, ``told`` is the whole farm file. ``time_zone`` is None when [farm]
    cannot be read.
    """

    file: Path
    raw: Mapping[str, Any]
    told: FarmFile
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

    def problem(self, key: str, wrong: str, mend: str) -> Problem:
        """Return a problem of this file."""
        return Problem(self.file, key, wrong, mend)


def read_draft(file: Path) -> Draft:
    """Read a farm file. Raises ``FarmFileError`` when it is not readable as TOML at all."""
    raw = _toml(file)
    problems: tuple[Problem, ...] = ()
    try:
        told = FarmFile.model_validate(raw)
    except ValidationError as error:
        errors = error.errors(include_url=False)
        problems = tuple(problem_of(e, file) for e in errors)
        told = FarmFile.model_validate(_readable(raw, [e["loc"] for e in errors]))
    boundaries = file.parent / told.farm.fields_file
    zone = None if told.farm.name == _NO_FARM["name"] else told.farm.time_zone
    return Draft(file, raw, told, zone, boundaries, problems)


def _readable(raw: Mapping[str, Any], slips: Iterable[Steps]) -> dict[str, Any]:
    """Leave out every entry with a slip in it, and every table that is none."""
    bad = {steps[:2] for steps in slips}
    spoilt = {steps[0] for steps in bad}
    kept: dict[str, Any] = {
        table: {name: entry for name, entry in entries.items() if (table, name) not in bad}
        for table in _TABLES
        if isinstance(entries := raw.get(table, {}), dict)
    }
    for table in ("judging", "brief"):
        if table in raw and table not in spoilt:
            kept[table] = raw[table]
    kept["farm"] = _NO_FARM if "farm" in spoilt else raw["farm"]
    return {table: {} for table in _TABLES} | kept


def _toml(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text_of(file))
    except tomllib.TOMLDecodeError as error:
        said, _, place = str(error).rstrip(")").rpartition(" (at ")
    mend = "look there for a missing quote, bracket or = sign, or a key written twice"
    raise FarmFileError([Problem(file, place, f"this is not TOML: {said}", mend)])


def text_of(file: Path) -> str:
    """Return a file's text. Raises ``FarmFileError`` when there is none."""
    try:
        return file.read_text(encoding="utf-8-sig")
    except OSError as error:
        wrong, mend = f"cannot be read ({error.strerror})", "check the path and who may read it"
    except UnicodeDecodeError as error:
        wrong, mend = f"is not UTF-8 text (byte {error.start})", "save it as UTF-8"
    raise FarmFileError([Problem(file, "", wrong, mend)])
