"""The pinned versions name every package the program needs, at a version it takes."""

import importlib.metadata
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
EXTRAS = ("postgresql", "plan", "plots", "pdf")
"""What the header of the file names."""


def _pinned() -> dict[str, str]:
    lines = (ROOT / "deploy/requirements.txt").read_text().splitlines()
    found = (re.fullmatch(r"([\w.-]+)==(\S+)", line) for line in lines if line[0] != "#")
    return {canonicalize_name(m[1]): m[2] for m in found if m is not None}


def _asked() -> list[Requirement]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    of_extras = [line for extra in EXTRAS for line in project["optional-dependencies"][extra]]
    return [Requirement(line) for line in (*project["dependencies"], *of_extras)]


def _needs(asked: list[Requirement]) -> Iterator[str]:
    """Yield every package these need here, by the packages' own word."""
    todo, seen = list(asked), set()
    while todo:
        one = todo.pop()
        for extra in (*one.extras, ""):
            if (key := (canonicalize_name(one.name), extra)) in seen:
                continue
            seen.add(key)
            yield key[0]
            further = map(Requirement, importlib.metadata.requires(one.name) or ())
            todo += [r for r in further if r.marker is None or r.marker.evaluate({"extra": extra})]


def test_every_package_the_program_needs_is_pinned() -> None:
    assert sorted(set(_needs(_asked())) - _pinned().keys()) == []


def test_what_is_pinned_is_what_the_program_takes() -> None:
    pinned = _pinned()
    refused = [r for r in _asked() if pinned[canonicalize_name(r.name)] not in r.specifier]
    assert refused == []
