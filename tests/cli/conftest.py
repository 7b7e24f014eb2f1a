"""The command line on the example farm, over a log that was filled as sources fill it."""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result
from typer.testing import CliRunner

from tests.support.new_log import new_log
from watcher.cli.app import app
from watcher.sources.base import Forecast, Observations
from watcher.store import weather
from watcher.weather.series import Site, WeatherSeries

NOW = int(datetime(2026, 6, 10, 16, 0, tzinfo=UTC).timestamp())  # 11:00 on the farm's clock
HOUR = 3600


def _forecast() -> WeatherSeries:
    hours = np.arange(-24, 80)
    local = (hours + 11) % 24
    return WeatherSeries.of(
        NOW + HOUR * hours,
        Site(41.63, -96.93, elevation_m=400.0, wind_height_m=10.0),
        "forecast",
        {
            "wind_m_s": np.where(np.abs(local - 14) < 7, 3.6, 1.0),
            "gust_m_s": np.where(np.abs(local - 14) < 7, 5.0, 2.0),
            "wind_from_deg": np.where(hours < 6, 180.0, 270.0),
            "temp_c": 18.0 + 6.0 * np.cos((local - 15) * np.pi / 12),
            "humidity_pct": np.full(hours.size, 60.0),
            "cloud_pct": np.full(hours.size, 30.0),
            "rain_mm_h": np.zeros(hours.size),
        },
    )


def _readings() -> WeatherSeries:
    times = NOW - 60 * np.arange(30)[::-1]
    site = Site(41.6312, -96.9257, 400.0, wind_height_m=3.048, temp_height_m=1.524)
    values = {"wind_m_s": 3.0, "gust_m_s": 4.2, "wind_from_deg": 180.0, "temp_c": 20.0}
    values |= {"humidity_pct": 55.0, "rain_mm_h": 0.0, "temp_upper_c": 19.5}
    return WeatherSeries.of(
        times, site, "yard", {name: np.full(times.size, value) for name, value in values.items()}
    )


@pytest.fixture(autouse=True)
def _english(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever runs the tests may have another language."""
    for variable in ("WATCHER_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(variable, raising=False)


@pytest.fixture
def command(
    tmp_path: Path, example_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Result]:
    """Run a command as if it were NOW, over a log with a forecast and half an hour of wind."""
    monkeypatch.setenv("WATCHER_FARM", str(example_path))
    monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(time, "time", lambda: float(NOW))
    log = new_log(tmp_path / "watch.db")
    with log.writing() as session:
        weather.add_forecast(session, Forecast(_forecast(), NOW - HOUR, NOW - HOUR, "invented"))
        weather.add_observations(session, Observations(_readings()), NOW)
    log.close()
    return lambda *arguments: CliRunner().invoke(app, list(arguments))
