"""How quickly readings are kept, against the driver's bare executemany of the same rows."""

import sqlite3
import time
from pathlib import Path

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.new_log import new_log
from watcher.service.intake import Intake
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.store.rows import weather_columns
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

ROWS = 50_000
BATCH = 1_000
ROUNDS = 5


@pytest.fixture
def batches() -> list[WeatherSeries]:
    rng = np.random.default_rng(5)
    site = Site(latitude=44.5, longitude=-100.25)
    return [
        WeatherSeries.of(
            np.arange(start, start + BATCH) * 60,
            site,
            "station",
            {name: np.round(rng.normal(size=BATCH), 1) for name in QUANTITIES},
        )
        for start in range(0, ROWS, BATCH)
    ]


def _kept(path: Path, batches: list[WeatherSeries]) -> float:
    log = new_log(path)
    began = time.perf_counter()
    for series in batches:
        with log.writing() as session:
            assert weather.add_observations(session, Observations(series), 0) == BATCH
    spent = time.perf_counter() - began
    log.close()
    return spent


def _bare(path: Path, batches: list[WeatherSeries]) -> float:
    log = new_log(path)
    log.close()
    rows = [
        list(zip(*weather_columns(series, source="station", received_at=0).values(), strict=True))
        for series in batches
    ]
    columns = ("time", *QUANTITIES, "source", "received_at")
    insert = (
        f"INSERT INTO observation ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
    )
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous=FULL")
    began = time.perf_counter()
    for batch in rows:
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany(insert, batch)
        connection.execute("COMMIT")
    spent = time.perf_counter() - began
    connection.close()
    return spent


def _checked(path: Path, batches: list[WeatherSeries]) -> float:
    log = new_log(path)
    intake = Intake(build(tables()))
    began = time.perf_counter()
    for series in batches:
        with log.writing() as session:
            found = intake.checked(session, Observations(series), 0)
            assert weather.add_observations(session, found, 0) == BATCH
    spent = time.perf_counter() - began
    log.close()
    return spent


@pytest.mark.bench
def test_readings_are_checked_and_kept_at_half_the_drivers_speed_or_nearly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A station as it is: eight quantities, tenths, one reading in a hundred with a finding."""
    rng = np.random.default_rng(6)
    batches = [_plausible(rng, start) for start in range(0, ROWS, BATCH)]
    checked, bare = [], []
    for number in range(ROUNDS):
        bare.append(_bare(tmp_path / f"bare{number}.db", batches))
        checked.append(_checked(tmp_path / f"checked{number}.db", batches))
    ratio = min(checked) / min(bare)
    with capsys.disabled():
        print(
            f"\n{ROWS / min(checked):,.0f} readings a second checked and kept, "
            f"{ROWS / min(bare):,.0f} by bare executemany: {ratio:.2f} times its time"
        )
    assert ratio < 3


def _plausible(rng: np.random.Generator, start: int) -> WeatherSeries:
    minute = np.arange(start, start + BATCH)
    day = 2 * np.pi * minute / 1440
    wind = np.abs(3.0 - 1.5 * np.cos(day) + rng.normal(0, 0.4, BATCH))
    temp = 18.0 - 7.0 * np.cos(day)
    values = {
        "wind_m_s": wind,
        "gust_m_s": wind + np.abs(rng.normal(1.0, 0.5, BATCH)),
        "wind_from_deg": (180 + 40 * np.sin(day / 3) + rng.normal(0, 12, BATCH)) % 360,
        "temp_c": np.where(rng.random(BATCH) < 0.01, temp + 20.0, temp),
        "humidity_pct": 60.0 + 20.0 * np.cos(day),
        "pressure_pa": 97_000.0 + 300.0 * np.sin(day / 5),
        "rain_mm_h": np.zeros(BATCH),
        "solar_w_m2": np.maximum(0.0, -800.0 * np.cos(day)),
    }
    rounded = {name: np.round(column, 1) for name, column in values.items()}
    site = Site(latitude=41.0, longitude=-96.0)
    return WeatherSeries.of(minute * 60, site, "station", rounded)


@pytest.mark.bench
def test_readings_are_kept_nearly_as_quickly_as_the_driver_can(
    tmp_path: Path, batches: list[WeatherSeries], capsys: pytest.CaptureFixture[str]
) -> None:
    kept, bare = [], []
    for number in range(ROUNDS):  # by turns, so that a busy machine slows both
        bare.append(_bare(tmp_path / f"bare{number}.db", batches))
        kept.append(_kept(tmp_path / f"kept{number}.db", batches))
    ratio = min(kept) / min(bare)
    with capsys.disabled():
        print(
            f"\n{ROWS / min(kept):,.0f} readings a second kept, {ROWS / min(bare):,.0f} by bare "
            f"executemany: {ratio:.2f} times its time"
        )
    assert ratio < 3
