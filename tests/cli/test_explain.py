"""``watcher explain`` on the example farm, over a log that was filled as sources fill it."""

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from watcher.cli.app import app
from watcher.sources.base import Forecast, Observations
from watcher.store import weather
from watcher.store.database import Log
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
    told = {"wind_m_s": 3.0, "gust_m_s": 4.2, "wind_from_deg": 180.0, "temp_c": 20.0}
    told |= {"humidity_pct": 55.0, "rain_mm_h": 0.0, "temp_upper_c": 19.5}
    return WeatherSeries.of(
        times, site, "yard", {name: np.full(times.size, value) for name, value in told.items()}
    )


@pytest.fixture
def watcher(tmp_path: Path, example_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run the command as if it were NOW, over a log with a forecast and half an hour of wind."""
    monkeypatch.setenv("WATCHER_FARM", str(example_path))
    monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(time, "time", lambda: float(NOW))
    log = Log(f"sqlite:///{tmp_path / 'watch.db'}")
    log.upgrade()
    with log.writing() as session:
        weather.add_forecast(session, Forecast(_forecast(), NOW - HOUR, NOW - HOUR, "invented"))
        weather.add_observations(session, Observations(_readings()), NOW)
    log.close()
    return lambda *arguments: CliRunner().invoke(app, ["explain", *arguments])


def test_a_field_is_explained_with_the_setup_that_is_recommended(watcher: Any) -> None:
    done = watcher("creek_field")
    assert done.exit_code == 0, done.output
    first, *rest = done.output.splitlines()
    assert " creek field with " in first
    assert ", 11:00: " in first
    for heading in ("Weather", "Limits", "Drift", "Stability", "Setups", "This setup", "End rows"):
        assert heading in rest
    assert "soybeans to the N" in done.output
    assert rest[-1].startswith("Guidance only.")


def test_another_setup_may_be_asked_about(watcher: Any) -> None:
    done = watcher("creek_field", "--setup", "fan_15")
    assert "creek field with fan 15" in done.output


def test_an_hour_of_the_forecast_may_be_asked_about(watcher: Any) -> None:
    done = watcher("creek_field", "--at", "18:00")
    assert ", 18:00: " in done.output
    assert "from W, gusts" in done.output


@pytest.mark.parametrize("at", ["2026-06-11T10:00", "2026-06-11T15:00Z"])
def test_a_date_and_time_is_read_on_the_farms_clock_or_with_its_own_offset(
    watcher: Any, at: str
) -> None:
    assert ", tomorrow 10:00: " in watcher("creek_field", "--at", at).output


def test_a_chart_is_drawn_where_it_is_asked_for(watcher: Any, tmp_path: Path) -> None:
    done = watcher("pivot", "--plot", str(tmp_path / "pivot.svg"))
    assert done.exit_code == 0, done.output
    assert "Drawn in" in done.output
    assert "vineyard" in (tmp_path / "pivot.svg").read_text()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("nowhere",), "no field 'nowhere'; the farm file has west_bottom, "),
        (("pivot", "--setup", "fan_15"), "it may be with coarse_15, coarse_7"),
        (("pivot", "--setup", "nothing"), "not sprayed with a setup 'nothing'; it may be"),
        (("pivot", "--at", "noon"), "is no time; write"),
        (("pivot", "--at", "2026-07-01T10:00"), "is outside what is looked at"),
        (("pivot", "--at", "2026-06-01T10:00"), "is outside what is looked at"),
        (("pivot", "--plot", "pivot.pdf"), "neither .png nor .svg"),
    ],
)
def test_what_cannot_be_answered_is_said_with_its_mend(
    watcher: Any, arguments: tuple[str, ...], told: str
) -> None:
    done = watcher(*arguments)
    assert done.exit_code == 2
    assert told in done.output


def test_stale_readings_are_never_called_suitable(
    watcher: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(time, "time", lambda: float(NOW + 2 * HOUR))
    done = watcher("creek_field")
    assert ": unknown" in done.output.splitlines()[0]
    assert "Wind at the boom unknown" in done.output
