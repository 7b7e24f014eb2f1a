"""``watcher record`` on the example farm, over a log with one job that was sprayed."""

import json
import sqlite3
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.support import job_steps
from tests.support.new_log import new_log
from watcher.cli.app import app
from watcher.messages.words import CAUTION
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.weather.series import Site, WeatherSeries

START = int(datetime(2026, 6, 10, 16, 0, tzinfo=UTC).timestamp())  # 11:00 on the farm's clock
MINUTE = 60


def _readings() -> WeatherSeries:
    times = START + MINUTE * np.arange(-60, 90)
    values = {"wind_m_s": 3.0, "gust_m_s": 4.2, "wind_from_deg": 180.0, "temp_c": 20.0}
    values |= {"humidity_pct": 55.0, "rain_mm_h": 0.0, "temp_upper_c": 19.5}
    return WeatherSeries.of(
        times,
        Site(41.6312, -96.9257, 400.0, wind_height_m=3.048, temp_height_m=1.524),
        "yard",
        {name: np.full(times.size, value) for name, value in values.items()},
    )


@pytest.fixture
def watcher(tmp_path: Path, example_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run a command three hours after a job on west_bottom began that took 70 minutes."""
    monkeypatch.setenv("WATCHER_FARM", str(example_path))
    monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(time, "time", lambda: float(START + 3 * 3600))
    log = new_log(tmp_path / "watch.db")
    with log.writing() as session:
        weather.add_observations(session, Observations(_readings()), START)
        job_steps.started(
            session,
            field="west_bottom",
            setup="coarse_15",
            sprayer="high_boom",
            at=START,
            planned_s=4000.0,
        )
        job_steps.finish(session, 1, START + 70 * MINUTE)
    log.close()

    def run(*arguments: str, code: int = 0) -> str:
        done = CliRunner().invoke(app, ["record", *arguments])
        assert done.exit_code == code, done.output
        return " ".join(done.output.split())

    return run


@pytest.fixture
def closed(watcher: Any) -> Any:
    """The same, with the record of the job closed."""
    watcher("set", "1", "buffer=one swath, south", "sensitive_check=registry, 10:30")
    watcher("close", "1")
    return watcher


def head_in(output: str) -> str:
    return next(word for word in output.split() if len(word) == 64)


def test_a_job_without_a_record_is_listed_with_the_moment_it_is_due(watcher: Any) -> None:
    # 72 hours after 11:00 on 10 June.
    assert "west_bottom" in watcher("list")
    assert "not begun" in watcher("list")
    assert "2026-06-13 11:00" in watcher("list")


def test_a_record_is_shown_before_anything_is_written(watcher: Any) -> None:
    said = watcher("show", "1")
    assert "Draft: this record is not closed." in said
    assert "Wind: 6.7 mph at 10 ft" in said  # 3 m/s
    assert "sensitive_check" in said
    assert str(CAUTION) in said
    assert "not begun" in watcher("list")


def test_closing_is_refused_with_what_to_type(watcher: Any) -> None:
    said = watcher("close", "1", code=2)
    assert "buffer left towards neighbours (72 h label" in said
    assert "watcher record set 1 " in said
    assert "buffer=… sensitive_check=…" in said
    assert '--incomplete "why"' in said
    assert "not begun" in watcher("list")


def test_a_record_closed_incomplete_says_so_and_why(watcher: Any) -> None:
    watcher("close", "1", "--incomplete", "registry was down")
    assert "closed incomplete" in watcher("list")
    assert "Closed incomplete: registry was down" in watcher("show", "1")


def test_a_record_is_filled_in_closed_and_corrected(closed: Any) -> None:
    said = closed("correct", "1", "area=38 acre", "--why", "one swath left", "--by", "B. Hand")
    assert "corrected: area" in said
    said = closed("show", "1")
    assert "Corrections since it was closed" in said
    assert "B. Hand" in said
    assert "836.0 fl oz" in said  # 22 fl oz on 38 acre


def test_the_head_is_printed_whenever_something_is_written(watcher: Any) -> None:
    first = head_in(watcher("set", "1", "buffer=none"))
    assert head_in(watcher("list")) == first
    assert head_in(watcher("set", "1", "note=calm")) != first
    assert "The chain is whole: 2 entries." in watcher("verify", "--head", first)


def test_a_changed_entry_is_named_by_verify(closed: Any, tmp_path: Path) -> None:
    assert "The chain is whole: 3 entries." in closed("verify")
    with sqlite3.connect(tmp_path / "watch.db") as connection:
        connection.execute("DROP TRIGGER record_entry_no_update")
        connection.execute("UPDATE record_entry SET by = 'nobody' WHERE number = 2")
    connection.close()
    said = closed("verify", code=1)
    assert "The chain is broken at entry 2" in said


def test_a_head_that_is_not_in_the_chain_is_told(closed: Any) -> None:
    said = closed("verify", "--head", "0" * 64, code=1)
    assert "the head hash that was noted is not in the chain" in said


def test_the_json_export_is_checked_by_itself(closed: Any, tmp_path: Path) -> None:
    closed("export", "--format", "json", "-o", "out.json")
    assert "The chain is whole: 3 entries." in closed("verify", "--file", "out.json")
    data = (tmp_path / "out.json").read_bytes()
    assert json.loads(data)["document"]["records"][0]["field"] == "west_bottom"
    (tmp_path / "out.json").write_bytes(data.replace(b"one swath", b"two swath"))
    assert "broken at entry 1" in closed("verify", "--file", "out.json", code=1)
    (tmp_path / "out.json").write_bytes(data[:-20])
    assert "not a JSON export of records" in closed("verify", "--file", "out.json", code=2)


@pytest.mark.parametrize(("form", "starts"), [("pdf", b"%PDF-"), ("csv", b"job,part,name,")])
def test_a_record_is_exported_to_print_and_as_a_table(
    closed: Any, tmp_path: Path, form: str, starts: bytes
) -> None:
    closed("export", "1", "--format", form)
    assert (tmp_path / f"records.{form}").read_bytes().startswith(starts)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["show", "9"], "no job 9"),
        (["set", "1", "buffer"], '"buffer" is not key=value'),
        (["set", "1", "bufer=1"], 'did you mean "buffer"'),
        (["set", "1", "area=38"], "a bare number has no unit"),
        (["correct", "1", "area=38 acre", "--why", "x"], "watcher record set 1 key=value"),
        (["export"], "there is no record yet; watcher record close JOB makes one"),
        (["export", "1"], "job 1 has no record yet; watcher record close 1 makes it"),
        (["verify", "--file", "none.json"], "none.json cannot be read"),
    ],
)
def test_what_cannot_be_done_is_said_with_its_mend(
    watcher: Any, arguments: list[str], says: str
) -> None:
    assert says in watcher(*arguments, code=2)


def test_printing_without_the_extra_says_what_to_install(
    closed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys  # noqa: PLC0415

    monkeypatch.setitem(sys.modules, "fpdf", None)
    monkeypatch.delitem(sys.modules, "watcher.records.pdf", raising=False)
    assert "install this program with its extra [pdf]" in closed("export", code=2)
