"""``watcher farm export`` and ``import``: out of one place, into another, and said what came."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from watcher.farm.load import load

Command = Callable[..., Result]
KEYED = """
[sources.paid]
kind = "mapped_json"
gives = "observations"
url = "https://weather.example/now?appid=hushhush"
every = "5 min"
silent_after = "20 min"
times = "time"
measures = ["wind"]
quantities = { wind = { at = "wind", unit = "m/s" } }
"""


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], Path]:
    """Move to another, empty place."""

    def move() -> Path:
        folder = tmp_path / "elsewhere"
        folder.mkdir()
        monkeypatch.setenv("WATCHER_FARM", str(folder / "farm" / "farm.toml"))
        monkeypatch.setenv("WATCHER_STATE_DIR", str(folder))
        return folder

    return move


def test_a_farm_is_read_in_elsewhere_with_its_readings(
    command: Command, elsewhere: Callable[[], Path], tmp_path: Path, example_path: Path
) -> None:
    file = tmp_path / "farm.zip"
    out = command("farm", "export", "-o", str(file), "--readings")
    assert out.exit_code == 0, out.output
    folder = elsewhere()
    result = command("farm", "import", str(file))
    assert result.exit_code == 0, result.output
    assert "9 fields, 0 versions, 0 jobs, 0 entries of records, 30 readings" in result.output
    assert load(folder / "farm" / "farm.toml").config == load(example_path).config
    assert (folder / "farm" / "farm.toml").stat().st_mode & 0o077 == 0
    checked = command("check")
    assert checked.exit_code in {0, 2}
    assert "9 fields" in checked.output


def test_what_is_there_stays_unless_told(
    command: Command, elsewhere: Callable[[], Path], tmp_path: Path
) -> None:
    file = tmp_path / "farm.zip"
    command("farm", "export", "-o", str(file))
    folder = elsewhere() / "farm"
    folder.mkdir()
    (folder / "farm.toml").write_text("# mine\n")
    refused = command("farm", "import", str(file))
    assert (folder / "farm.toml").read_text() == "# mine\n"
    done = command("farm", "import", str(file), "--replace")
    assert (refused.exit_code, done.exit_code) == (2, 0), done.output
    assert "there already" in refused.output
    assert "say --replace" in refused.output


@pytest.mark.parametrize(
    ("data", "said"),
    [(b"words", "no whole zip archive"), (None, "cannot be read in (No such file")],
)
def test_what_is_no_archive_is_refused(
    command: Command,
    elsewhere: Callable[[], Path],
    tmp_path: Path,
    data: bytes | None,
    said: str,
) -> None:
    file = tmp_path / "farm.zip"
    if data is not None:
        file.write_bytes(data)
    folder = elsewhere()
    refused = command("farm", "import", str(file))
    assert refused.exit_code == 2
    assert said in refused.output
    assert not (folder / "farm").exists()


def test_a_key_in_the_farm_file_is_told_and_asked_for_anew_elsewhere(
    command: Command,
    elsewhere: Callable[[], Path],
    tmp_path: Path,
    example_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    home = tmp_path / "farm.toml"
    home.write_text(example_path.read_text() + KEYED)
    shutil.copy(example_path.with_name("fields.geojson"), tmp_path)
    monkeypatch.setenv("WATCHER_FARM", str(home))
    checked = command("check")
    file = tmp_path / "farm.zip"
    command("farm", "export", "-o", str(file))
    elsewhere()
    read_in = command("farm", "import", str(file))
    checked_there = command("check")
    assert "Note: sources.paid.url has a key in it" in checked.output
    for there in (read_in, checked_there):
        assert "source paid waits for its key: set WATCHER_API_KEYS__paid" in there.output
        assert "has a key in it" not in there.output
    assert "hushhush" not in checked.output + read_in.output + checked_there.output
