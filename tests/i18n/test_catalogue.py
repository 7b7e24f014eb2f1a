"""Every text of the program stands in every catalogue, with the same gaps, and nothing else."""

import re
import tomllib
from functools import cache
from pathlib import Path

import pytest
from babel.messages.catalog import Message
from babel.messages.extract import extract_from_dir

import watcher
from tests.support.described import descriptions, help_texts
from watcher.i18n.extraction import NotALiteralError, extract
from watcher.i18n.language import SOURCE, codes, language

PACKAGE = Path(watcher.__file__).parent
_GAP = re.compile(r"\{(\w+)\}|%\((\w+)\)s")
OTHERS = [code for code in codes() if code != SOURCE]
Ids = tuple[str, ...]


@cache
def texts() -> dict[Ids, str]:
    """Every text of the program and where it stands.

    By the rules pybabel goes by, and what models and commands say of themselves.
    """
    rules = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text())["tool"]["babel"]
    mappings = rules["mappings"]
    found = extract_from_dir(
        PACKAGE,
        method_map=[(rule["pattern"], rule["method"]) for rule in mappings],
        options_map={rule["pattern"]: rule for rule in mappings},
    )
    said = {_ids(text): f"{file}:{line}" for file, line, text, *_ in found}
    return said | {(text,): where for text, where in (*descriptions(), *help_texts())}


def _ids(text: object) -> Ids:
    return (
        tuple(t for t in text if isinstance(t, str))
        if isinstance(text, tuple | list)
        else (str(text),)
    )


def _entries(code: str) -> dict[Ids, Message]:
    return {_ids(entry.id): entry for entry in language(code).catalog if entry.id}


def test_the_texts_are_found() -> None:
    assert len(texts()) > 600


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_is_translated(code: str) -> None:
    done = {
        ids for ids, entry in _entries(code).items() if all(_ids(entry.string)) and not entry.fuzzy
    }
    assert {ids: where for ids, where in texts().items() if ids not in done} == {}


@pytest.mark.parametrize("code", OTHERS)
def test_no_entry_is_left_over(code: str) -> None:
    assert sorted(_entries(code).keys() - texts().keys()) == []


@pytest.mark.parametrize("code", OTHERS)
def test_every_entry_has_the_gaps_of_its_text(code: str) -> None:
    def gaps(text: str) -> list[str]:
        return sorted(a or b for a, b in _GAP.findall(text))

    wrong = {
        ids: entry.string
        for ids, entry in _entries(code).items()
        for translated in _ids(entry.string)
        if translated and gaps(translated) not in [gaps(text) for text in ids]
    }
    assert wrong == {}


def test_a_template_made_at_run_time_is_refused(tmp_path: Path) -> None:
    source = tmp_path / "module.py"
    source.write_text('say("found {n}", n=say("inside"))\nsay_n("one", "{n} many", 2)\n')
    with source.open("rb") as file:
        assert [text for _, _, text, _ in extract(file, (), (), {})] == [
            "found {n}",
            ("one", "{n} many"),
            "inside",
        ]
    source.write_text("say(word)")
    with source.open("rb") as file, pytest.raises(NotALiteralError, match="line 1"):
        list(extract(file, (), (), {}))
