"""``watcher log``, ``season`` and ``replay`` on the example farm, over days of its own station."""

import shutil
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.support.new_log import new_log
from watcher.cli.app import app
from watcher.sources.base import Observations
from watcher.store import aggregates, weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

pytestmark = pytest.mark.long

NOW = int(datetime(2026, 6, 10, 16, 0, tzinfo=UTC).timestamp())  # 11:00 on the farm's clock
DAYS = ("--from", "2026-06-09", "--to", "2026-06-10")


def readings() -> WeatherSeries:
    times = np.arange(NOW - 60 * 3600, NOW, 60)
    day = 2 * np.pi * ((times - 5 * 3600) % 86_400) / 86_400
    site = Site(41.6312, -96.9257, 400.0, wind_height_m=3.048, temp_height_m=1.524)
    values = {
        "wind_m_s": 2.5 - 1.5 * np.cos(day),
        "gust_m_s": 4.0 - 2.0 * np.cos(day),
        "wind_from_deg": np.full(times.size, 180.0),
        "temp_c": 18.0 - 6.0 * np.cos(day),
        "humidity_pct": 60.0 + 20.0 * np.cos(day),
        "rain_mm_h": np.zeros(times.size),
    }
    return WeatherSeries.of(times, site, "yard", values)


@pytest.fixture
def watcher(tmp_path: Path, example_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run a command as if it were NOW, over two and a half days of the yard's weather."""
    monkeypatch.setenv("WATCHER_FARM", str(example_path))
    monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path))
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(time, "time", lambda: float(NOW))
    log = new_log(tmp_path / "watch.db")
    with log.writing() as session:
        weather.add_observations(session, Observations(readings()), NOW)
    log.close()

    def run(*arguments: str, code: int = 0) -> str:
        done = CliRunner().invoke(app, list(arguments))
        assert done.exit_code == code, done.output
        return done.output

    return run


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_an_exported_table_goes_into_another_log(
    watcher: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    table = tmp_path / f"readings.{form}"
    assert "1440 readings" in watcher(
        "log", "export", *DAYS, "--source", "yard", "--format", form, "-o", str(table)
    )
    watcher("log", "import", str(table))  # what the checks find in it is new to this log
    assert "1440 readings, 0 of them" in watcher("log", "import", str(table))
    monkeypatch.setenv("WATCHER_DATABASE_URL", f"sqlite:///{tmp_path}/other.db")
    assert "1440 readings, 1440 of them" in watcher("log", "import", str(table))


def test_a_table_that_is_none_is_told_with_its_line(watcher: Any, tmp_path: Path) -> None:
    table = tmp_path / "bad.csv"
    table.write_text("source,time (UTC),wind (m/s)\nyard,2026-06-09T00:00:00Z,brisk\n")
    said = watcher("log", "import", str(table), code=2)
    assert "line 2, 'wind (m/s)': 'brisk'" in said
    assert "mend it and import it again" in said


def test_a_table_is_checked_like_all_that_comes_in(watcher: Any, tmp_path: Path) -> None:
    table = tmp_path / "spoilt.csv"
    table.write_text("source,time (UTC),wind (m/s)\nyard,2026-06-01T00:00:00Z,99\n")
    watcher("log", "import", str(table))
    said = watcher("log", "export", "--from", "2026-05-31", "--to", "2026-06-02")
    assert "wind_m_s: range" in said


def test_parquet_is_not_printed(watcher: Any) -> None:
    assert "name a file" in watcher("log", "export", *DAYS, "--format", "parquet", code=2)


def test_a_chart_and_a_rose_are_drawn(watcher: Any, tmp_path: Path) -> None:
    assert "1440 times of yard" in watcher("log", "chart", *DAYS, "-o", "day.png")
    assert "144 ten-minute means" in watcher("log", "rose", *DAYS, "-o", "rose.svg")
    assert (tmp_path / "day.png").stat().st_size > 10_000
    assert "Wind at yard" in (tmp_path / "rose.svg").read_text()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--field", "nowhere"), "no field 'nowhere'"),
        (("--source", "barn"), "no station 'barn'"),
        (("--from", "2020-01-01", "--to", "2020-01-02"), "--to is before the log begins, on 2026"),
    ],
)
def test_what_cannot_be_drawn_is_said(watcher: Any, options: tuple[str, ...], said: str) -> None:
    when = () if "--from" in options else DAYS
    assert said in watcher("log", "chart", *when, *options, "-o", "day.png", code=2)


def test_a_season_is_counted_and_drawn(watcher: Any, tmp_path: Path) -> None:
    said = watcher("season", *DAYS, "-o", "season.svg")
    assert "of 24 hours" in said
    assert "time after sunrise" in said
    assert (tmp_path / "season.svg").exists()


def test_a_season_ends_now_and_may_be_of_one_month(watcher: Any) -> None:
    assert "of 11 hours" in watcher("season", "--from", "2026-06-10", "--to", "2026-07-01")
    said = watcher("season", *DAYS, "--month", "5", code=2)
    assert "no hour of that time lies in the months named" in said
    assert "in the future" in watcher(
        "season", "--from", "2027-01-01", "--to", "2027-02-01", code=2
    )


def test_a_season_with_the_plan_needs_forecasts_and_draws_nothing(watcher: Any) -> None:
    said = watcher("season", *DAYS, "--plan", code=2)
    assert "the log holds no forecast of any morning of that time" in said
    said = watcher("season", *DAYS, "--plan", "-o", "season.svg", code=2)
    assert "--plan draws no picture" in said


def test_a_season_begins_with_the_log(watcher: Any) -> None:
    ever = ("--from", "0001-01-01", "--to", "9999-12-31")
    said = watcher("season", *ever)
    assert "The log begins on 2026-06-07 23:00; the time before is left out." in said
    assert "of 60 hours" in said


@pytest.mark.parametrize(
    "command", [("season",), ("replay",), ("log", "rose", "-o", "rose.png")], ids=" ".join
)
def test_of_an_empty_log_nothing_is_told(
    watcher: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...]
) -> None:
    monkeypatch.setenv("WATCHER_DATABASE_URL", f"sqlite:///{tmp_path}/empty.db")
    assert "the log is empty" in watcher(*command, *DAYS, code=2)


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_table_that_cannot_be_written_is_said(watcher: Any, tmp_path: Path, form: str) -> None:
    for file, why in ((tmp_path / "nowhere" / "a", "No such file"), (tmp_path, "Is a directory")):
        said = watcher("log", "export", *DAYS, "--format", form, "-o", str(file), code=2)
        assert f"{file} cannot be written ({why}" in said
        assert "name another with --output" in said


def test_a_day_is_replayed_from_the_log(watcher: Any) -> None:
    said = watcher("replay", *DAYS, "--every", "1800")
    assert "1.0 days" in said
    assert "to grower:" in said


def test_a_replay_ends_now(watcher: Any) -> None:
    said = watcher("replay", "--from", "2026-06-10", "--to", "2026-06-12", "--every", "3600")
    assert "0.5 days" in said
    future = ("--from", "2026-07-01", "--to", "2026-07-02")
    assert "is in the future" in watcher("replay", *future, code=2)


def test_a_chart_is_of_a_station_that_has_something_to_show(
    watcher: Any, tmp_path: Path, example_path: Path
) -> None:
    folder = shutil.copytree(example_path.parent, tmp_path / "farm")
    file = folder / example_path.name
    silent = '[sources.silent]\nkind = "push"\n\n[sources.yard]'
    file.write_text(file.read_text().replace("[sources.yard]", silent))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WATCHER_FARM", str(file))
        assert "1440 times of yard" in watcher("log", "chart", *DAYS, "-o", "day.png")
        assert "means of yard" in watcher("log", "rose", *DAYS, "-o", "rose.svg")


def test_days_whose_readings_are_gone_are_said_to_be(watcher: Any, tmp_path: Path) -> None:
    log = Database(f"sqlite:///{tmp_path / 'watch.db'}")
    more = True
    while more:
        with log.writing() as session:
            more = aggregates.tend(session, NOW + 40 * 86_400, keep_raw_s=7 * 86_400).more
    log.close()
    assert "no longer kept whole" in watcher("replay", *DAYS, "--every", "3600")
    said = watcher("log", "export", *DAYS, "--source", "yard")
    assert "0 readings" in said
    assert "--means hour writes" in said
    means = watcher("log", "export", *DAYS, "--source", "yard", "--means", "hour").splitlines()
    assert "24 means" in means
    [head] = [line for line in means if line.startswith("source,")]
    assert head.startswith("source,start (UTC),length (s),mean wind (m/s),highest gust (m/s),")
    assert sum(line.startswith("yard,2026-06-09T") for line in means) == 19


def test_a_table_taken_in_on_the_same_day_is_no_silence_to_a_replay(
    watcher: Any, tmp_path: Path
) -> None:
    """Imported within hours of its readings: each counts as come in when it was measured."""
    hours = ("--from", "2026-06-10 06:00", "--to", "2026-06-10 10:00")
    watcher(
        "log", "export", "--from", "2026-06-10 04:00", "--to", "2026-06-10 10:00", "-o", "h.csv"
    )
    for file in tmp_path.glob("watch.db*"):
        file.unlink()
    watcher("log", "import", "h.csv")
    said = watcher("replay", *hours, "--every", "600", "--whole")
    assert "yard silent" not in said
    assert "yard has been silent" not in said


def test_a_day_is_replayed_from_a_table_with_foresight(watcher: Any, tmp_path: Path) -> None:
    watcher("log", "export", "--from", "2026-06-08", "--to", "2026-06-11", "-o", "past.csv")
    said = watcher("replay", *DAYS, "--csv", "past.csv", "--every", "1800", "--whole")
    assert "better than any real one" in said
    assert "The label, local law" in said
