"""The farm of the last good start is read again as it was, whatever became of its files."""

import json
import os
from pathlib import Path

import pytest

from tests.support.service_process import write_farm
from watcher.farm.load import FarmFileError
from watcher.farm.validation import places
from watcher.service.kept_farm import keep, kept, load_to_keep

NOW = 1_790_000_000


@pytest.fixture
def farm_file(tmp_path: Path) -> Path:
    (tmp_path / "farm").mkdir()
    write_farm(tmp_path / "farm")
    return tmp_path / "farm" / "farm.toml"


@pytest.fixture
def file(tmp_path: Path, farm_file: Path) -> Path:
    """The file a good start kept the farm in."""
    farm, texts = load_to_keep(farm_file, tmp_path / "kept.json")
    keep(tmp_path / "kept.json", farm_file, texts, NOW)
    assert farm.config.farm.name == "Invented farm"
    return tmp_path / "kept.json"


def test_it_is_the_farm_it_was_after_both_its_files_are_gone(file: Path, farm_file: Path) -> None:
    before, _ = load_to_keep(farm_file, file)
    farm_file.unlink()
    (farm_file.parent / "fields.geojson").unlink()
    earlier = kept(file, ("gone",))
    assert earlier is not None
    assert earlier.farm == before
    assert (earlier.checked_at, earlier.mistakes) == (NOW, ("gone",))


def test_a_relative_path_is_read_as_it_was_written(
    tmp_path: Path, farm_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    path = Path("farm/farm.toml")
    _, texts = load_to_keep(path, tmp_path / "kept.json")
    assert set(texts) == {path, Path("farm/fields.geojson")}
    keep(tmp_path / "kept.json", path, texts, NOW)
    farm_file.write_text("a mistake")
    with pytest.raises(FarmFileError):
        load_to_keep(path, tmp_path / "kept.json")
    assert kept(tmp_path / "kept.json", ()) is not None


def test_what_cannot_be_read_any_more_is_none(file: Path, tmp_path: Path) -> None:
    assert kept(tmp_path / "nothing.json", ()) is None
    whole = file.read_text()
    file.write_text(whole[: len(whole) // 2])
    assert kept(file, ()) is None
    stored = json.loads(whole)
    stored["texts"] = {
        path: text for path, text in stored["texts"].items() if "geojson" not in path
    }
    file.write_text(json.dumps(stored))
    assert kept(file, ()) is None


def test_it_is_for_its_owner_only(file: Path) -> None:
    assert file.stat().st_mode & 0o777 == 0o600


def test_a_write_that_fails_leaves_what_was_there(
    file: Path, farm_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = file.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        keep(file, farm_file, {}, NOW + 1)
    assert file.read_bytes() == before


def test_the_time_zone_is_looked_up_again_only_where_a_text_is_another(
    file: Path, farm_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[float] = []
    monkeypatch.setattr(places, "zone_at", lambda latitude, _: asked.append(latitude) or "Etc/UTC")
    load_to_keep(farm_file, file)
    assert not asked
    boundaries = farm_file.parent / "fields.geojson"
    boundaries.write_text(boundaries.read_text() + "\n")
    with pytest.raises(FarmFileError, match="Etc/UTC"):
        load_to_keep(farm_file, file)
    assert asked
