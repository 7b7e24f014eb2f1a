"""Years of one-minute readings of five stations: how quickly a season is read, and how large it is.

WATCH_BENCH_YEARS says how many years are compared with one; ten are 26 million readings, three
gigabytes in the temporary folder and five minutes to make.
"""

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.new_log import new_log
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.season import add_up
from watcher.store import aggregates
from watcher.store.database import Database
from watcher.weather.bins import HOUR_S, TEN_MINUTES_S

YEARS = int(os.environ.get("WATCH_BENCH_YEARS", "2"))
STATIONS = ("mast", "yard", "ridge", "creek", "barn")
YEAR_S, DAY_S = 365 * 86_400, 86_400
END = 1_767_225_600  # 2026-01-01
COLUMNS = (
    "source", "time", "received_at", "wind_m_s", "gust_m_s", "wind_from_deg", "temp_c",
    "humidity_pct", "pressure_pa", "rain_mm_h", "solar_w_m2",
)  # fmt: skip
ROUNDS = 10


def _days(
    rng: np.random.Generator, source: str, start: int, count: int
) -> list[tuple[object, ...]]:
    times = start + 60 * np.arange(count * 1440)
    day = 2 * np.pi * (times % DAY_S) / DAY_S
    wind = np.abs(3.0 - 1.5 * np.cos(day) + rng.normal(0, 0.6, times.size))
    columns = (
        wind,
        wind + np.abs(rng.normal(1.0, 0.5, times.size)),
        (180 + 40 * np.sin(day) + rng.normal(0, 12, times.size)) % 360,
        16.0 - 7.0 * np.cos(day),
        60.0 + 20.0 * np.cos(day),
        97_000.0 + 300.0 * np.sin(day),
        np.zeros(times.size),
        np.maximum(0.0, -800.0 * np.cos(day)),
    )
    rounded = [np.round(column, 1).tolist() for column in columns]
    same = ([source] * times.size, times.tolist(), times.tolist())
    return list(zip(*same, *rounded, strict=True))


def _fill(path: Path, years: int) -> tuple[Database, float]:
    """A log of so many years up to END, as the service leaves it; and its size before the bins."""
    log = new_log(path, lasting=False)
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous=OFF")
    marks = ", ".join("?" * len(COLUMNS))
    rng = np.random.default_rng(1)
    for source in STATIONS:
        connection.execute(
            "INSERT INTO site VALUES (?, 41.0, -96.0, 350.0, 10.0, 2.0, NULL)", (source,)
        )
        for start in range(END - years * YEAR_S, END, 73 * DAY_S):
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(
                f"INSERT INTO observation ({', '.join(COLUMNS)}) VALUES ({marks})",
                _days(rng, source, start, 73),
            )
            connection.execute("COMMIT")
    connection.execute(
        "INSERT INTO stale_hour SELECT DISTINCT source, time / 3600 * 3600 FROM observation"
    )
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    raw = float(path.stat().st_size)
    more = True
    while more:
        with log.writing() as session:
            more = aggregates.tend(
                session, END + DAY_S, keep_raw_s=20 * YEAR_S, hours_at_once=2400
            ).more
    return log, raw


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[int, Database]]:
    """A log of one year and one of many; prints what a reading takes on disk."""
    folder = tmp_path_factory.mktemp("years")
    found = {}
    for years in (1, YEARS):
        began = time.perf_counter()
        path = folder / f"{years}.db"
        found[years], raw = _fill(path, years)
        with sqlite3.connect(path) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            [rows] = connection.execute("SELECT count(*) FROM observation").fetchone()
            [bins] = connection.execute("SELECT count(*) FROM weather_bin").fetchone()
        connection.close()
        whole = path.stat().st_size
        print(
            f"\n{years} years: {rows:,} readings, {bins:,} bins, made in "
            f"{time.perf_counter() - began:.0f} s; {raw / rows:.0f} bytes a reading, "
            f"{(whole - raw) / bins:.0f} a bin, {whole / 1e6:.0f} MB in all"
        )
    yield found
    for log in found.values():
        log.close()
    for path in folder.iterdir():
        path.unlink()


def _timed(logs: list[Database], query: Callable[[Database], object]) -> list[float]:
    """The least time of the query on each log, by turns, so that a busy machine slows both."""
    spent: list[list[float]] = [[] for _ in logs]
    for _ in range(ROUNDS):
        for log, times in zip(logs, spent, strict=True):
            began = time.perf_counter()
            query(log)
            times.append(time.perf_counter() - began)
    return [min(times) for times in spent]


def _hours(log: Database) -> None:
    with log.reading() as session:
        for station in STATIONS:
            start = END - 200 * DAY_S
            found = aggregates.bins(session, station, HOUR_S, start, start + 92 * DAY_S)
            assert len(found) == 92 * 24


def _ten_minutes(log: Database) -> None:
    with log.reading() as session:
        start = END - 200 * DAY_S
        found = aggregates.bins(session, "ridge", TEN_MINUTES_S, start, start + 92 * DAY_S)
        assert len(found) == 92 * 144


def _day(log: Database) -> None:
    with log.reading() as session:
        start = END - 200 * DAY_S
        assert len(aggregates.finest(session, "creek", start, start + DAY_S)) == 1440


def _season(log: Database) -> None:
    config = tables()
    measures = ["wind", "gust", "wind_from", "temperature", "humidity", "rain"]
    config["sources"] = {name: {"kind": "push", "measures": measures} for name in STATIONS}
    with log.reading() as session:
        start = END - 200 * DAY_S
        found = add_up(session, FarmArrays.of(build(config)), start, start + 92 * DAY_S)
        assert found.hours.sum() == 2 * 92 * 24


@pytest.mark.bench
@pytest.mark.parametrize(
    ("what", "query"),
    [
        ("a season of hours of five stations", _hours),
        ("a season of ten minutes of one", _ten_minutes),
        ("a day of readings of one", _day),
        ("a season judged", _season),
    ],
)
def test_a_season_is_read_as_quickly_after_years_as_after_one(
    logs: dict[int, Database],
    what: str,
    query: Callable[[Database], object],
    capsys: pytest.CaptureFixture[str],
) -> None:
    one, many = _timed([logs[1], logs[YEARS]], query)
    with capsys.disabled():
        print(
            f"\n{what}: {1000 * many:.0f} ms after {YEARS} years, {1000 * one:.0f} ms after one, "
            f"{many / one:.2f} times"
        )
    assert many < 1.6 * one
