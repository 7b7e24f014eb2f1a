"""Secrets in a farm's files: told with their mend, and in no version and no archive."""

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests.support.farm_files import written
from tests.support.farms import watched_tables
from tests.support.new_log import new_log
from tests.support.running import SetClock
from tests.support.visiting import NOON
from watcher.farm.editing.edits import SetValue
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError
from watcher.service.farm_bundle import read_bundle
from watcher.service.farm_editor import FarmEditor
from watcher.service.farm_moving import bring_in, take_out
from watcher.service.farm_versions import FarmVersions
from watcher.service.written_in import secret_notes

MARK = "MARKED-0123456789"
KEYED = {
    "kind": "mapped_json",
    "gives": "observations",
    "url": f"https://weather.example/now?lat=41&appid={MARK}",
    "every": "5 min",
    "silent_after": "20 min",
    "times": "time",
    "measures": ["wind"],
    "quantities": {"wind": {"at": "wind", "unit": "m/s"}},
}


def farm_file(folder: Path, **sources: Any) -> Path:
    tables = watched_tables()
    tables["sources"] |= {"paid": KEYED} | sources
    return written(folder, tables)


def editor_of(file: Path) -> FarmEditor:
    return FarmEditor(file, FarmVersions(file.parent / "versions"), SetClock(NOON))


def notes(file: Path) -> list[str]:
    return [str(note) for note in secret_notes(FarmTexts.of_files(file))]


def test_a_key_in_an_address_is_told_with_where_it_belongs(tmp_path: Path) -> None:
    lines = notes(farm_file(tmp_path))
    assert len(lines) == 1
    assert "sources.paid.url has a key in it: set that by WATCHER_API_KEYS__paid" in lines[0]
    assert "write {key} in its place" in lines[0]
    assert MARK not in lines[0]


@pytest.mark.parametrize(
    ("more", "where"),
    [
        (f"# token = {MARK}\n", "the comment in line"),
        (f"\n[products.a]\nname = 'x'\nmode = 'other' # push://{MARK}/x\n", "the comment in line"),
    ],
)
def test_a_secret_in_a_comment_is_told(tmp_path: Path, more: str, where: str) -> None:
    file = written(tmp_path)
    with file.open("a") as opened:
        opened.write(more)
    lines = notes(file)
    assert len(lines) == 1
    assert where in lines[0]
    assert MARK not in lines[0]


def test_a_farm_without_secrets_is_told_nothing(tmp_path: Path) -> None:
    assert notes(farm_file(tmp_path, paid=KEYED | {"url": "https://w.example/?key={key}"})) == []


def test_a_password_that_was_left_out_is_told(tmp_path: Path) -> None:
    lines = notes(farm_file(tmp_path, paid=KEYED | {"url": "https://{key}@w.example/"}))
    assert "was left out of the archive" in lines[0]


def test_a_version_has_no_secret_and_going_back_keeps_it_in_the_file(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    editor = editor_of(file)
    running = editor.texts().load()
    crop = SetValue(("fields", "hill", "crop"), "maize")
    editor.save(editor.propose(running, [crop]), by="boss")
    kept = (tmp_path / "versions").rglob("*.json")
    assert all(MARK.encode() not in one.read_bytes() for one in kept)
    first = editor.versions.one(1)
    assert first is not None
    proposal = editor.propose_version(running, first)
    assert [str(change.key) for change in proposal.changes] == ["fields.hill.crop"]
    editor.save(proposal, by="boss")
    assert MARK in file.read_text()
    assert editor.texts().raw["fields"]["hill"]["crop"] == "soybeans"


def test_versions_of_an_older_program_are_written_anew(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    versions = FarmVersions(tmp_path / "versions")
    versions.add(FarmTexts.of_files(file), by="boss", at=NOON)
    kept = tmp_path / "versions" / "000001.json"
    kept.write_text(json.dumps(json.loads(kept.read_text()) | {"farm": file.read_text()}))
    assert MARK in kept.read_text()
    versions.take_secrets_out()
    assert MARK not in kept.read_text()
    found = versions.one(1)
    assert found is not None
    assert "paid" in found.texts.raw["sources"]


def test_a_version_is_looked_through_once_and_later_ones_still_are(tmp_path: Path) -> None:
    file, folder = farm_file(tmp_path), tmp_path / "versions"
    versions = FarmVersions(folder)

    def kept_by_an_older_program() -> Path:
        number = versions.add(FarmTexts.of_files(file), by="boss", at=NOON).number
        kept = folder / f"{number:06d}.json"
        kept.write_text(json.dumps(json.loads(kept.read_text()) | {"farm": file.read_text()}))
        return kept

    first = kept_by_an_older_program()
    versions.take_secrets_out()
    first.unlink()
    first.mkdir()  # which cannot be read again
    second = kept_by_an_older_program()
    versions.take_secrets_out()
    assert MARK not in second.read_text()
    assert versions.numbers() == [2, 1]


def test_a_key_that_a_hand_changes_is_noticed(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    editor = editor_of(file)
    file.write_text(file.read_text().replace(MARK, "another-key"))
    editor.noticed()
    noticed = editor.noticed()
    assert noticed is not None
    assert noticed.farm is not None
    assert noticed.farm.config.sources["paid"].url.endswith("another-key")  # type: ignore[union-attr]


def test_another_address_is_still_refused_over_the_network(tmp_path: Path) -> None:
    editor = editor_of(farm_file(tmp_path))
    running = editor.texts().load()
    shown = KEYED | {"url": "https://weather.example/now?lat=41&appid={key}", "every": "6 min"}
    proposal = editor.propose(running, [SetValue(("sources", "paid"), shown)])
    assert MARK in proposal.after.farm  # what was shown without it comes back with it
    other = KEYED | {"url": "https://other.example/now?appid={key}"}
    with pytest.raises(FarmFileError, match="names a file or a machine"):
        editor.propose(running, [SetValue(("sources", "paid"), other)])


def test_an_archive_has_no_secret_and_is_read_in_with_a_gap(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    with file.open("a") as opened:
        opened.write(f"# push://{MARK}/phone\n")
    versions = FarmVersions(tmp_path / "versions")
    texts = FarmTexts.of_files(file)
    versions.add(texts, by="boss", at=NOON)
    into = io.BytesIO()
    take_out(into, new_log(tmp_path / "watch.db"), texts, versions, now=NOON)
    with zipfile.ZipFile(into) as archive:
        assert not [n for n in archive.namelist() if MARK.encode() in archive.read(n)]
    there = tmp_path / "there"
    there.mkdir()
    bring_in(
        read_bundle(into),
        new_log(there / "watch.db"),
        there / "farm.toml",
        FarmVersions(there / "versions"),
        now=NOON,
    )
    assert FarmTexts.of_files(there / "farm.toml").raw["sources"]["paid"]["url"].endswith("={key}")


def test_an_archive_read_in_over_its_own_farm_leaves_its_secrets(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    versions = FarmVersions(tmp_path / "versions")
    log = new_log(tmp_path / "watch.db")
    into = io.BytesIO()
    take_out(into, log, FarmTexts.of_files(file), versions, now=NOON)
    bring_in(read_bundle(into), log, file, versions, now=NOON)
    assert MARK in file.read_text()
