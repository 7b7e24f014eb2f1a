"""Archived forecasts as experience: of their feed at their station, and of nothing else."""

import csv
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.service.test_chances import farm
from tests.support.archived_forecasts import FOLDER, HOUR_S, hill_city, needs_archive
from tests.support.farms import LATITUDE, LONGITUDE
from watcher.farm import Farm
from watcher.forecasts.history import PATH_H
from watcher.service import experience, forecast_history
from watcher.sources.base import Observations
from watcher.sources.feeds.archived import ArchiveTable, BadArchiveError
from watcher.store import chances, weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

DAY = 86_400
NOW = 1_781_107_200
TABLE = ArchiveTable(
    "run", "hour", {"wind": ("WIND", "km/h"), "temperature": ("T", "degC")}, 3 * HOUR_S
)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Database]:
    found = Database(f"sqlite:///{tmp_path / 'watch.db'}")
    found.upgrade()
    yield found
    found.close()


def measured(log: Database, wind_m_s: float, *, days: int = 12) -> None:
    """The mast's readings, one every ten minutes."""
    times = np.arange(NOW - days * DAY, NOW, 600)
    site = Site(LATITUDE, LONGITUDE, wind_height_m=10.0)
    values = {"wind_m_s": np.full(times.size, wind_m_s), "temp_c": np.full(times.size, 20.0)}
    with log.writing() as session:
        series = WeatherSeries.of(times, site, "mast", values)
        weather.add_observations(session, Observations(series), NOW)


def table(folder: Path, wind_km_h: float, *, cell: str | None = None) -> Path:
    """An archive of runs every twelve hours, 48 h each, of a wind that never changes."""
    file = folder / "archive.csv"
    with file.open("w", newline="") as out:
        rows = csv.writer(out)
        rows.writerow(["run", "hour", "WIND", "T"])
        for run in range(NOW - 12 * DAY, NOW - DAY, DAY // 2):
            for hour in range(49):
                at = (datetime.fromtimestamp(t, UTC) for t in (run, run + hour * HOUR_S))
                rows.writerow([*(f"{t:%Y-%m-%d %H:%M}" for t in at), cell or wind_km_h, 20])
    return file


def take(log: Database, farm: Farm, file: Path, **changed: Any) -> int:
    options = {"feed": "feed", "station": "mast", "table": TABLE, "now": NOW} | changed
    return experience.take_in(log, farm, file, **options)


def test_what_an_archive_was_off_by_is_learned_of_that_feed_alone(
    log: Database, tmp_path: Path
) -> None:
    found = farm()
    measured(log, 4.0)
    assert take(log, found, table(tmp_path, 18.0)) > 50  # 5 m/s
    with log.reading() as session:
        history = forecast_history.history(session, found, ["mast"], ["feed", "other"], NOW)
        assert chances.pairs(session, "other", "mast", 0) == []
    foretold = history.foretold["wind_m_s"]
    past = history.measured["wind_m_s"][:-1]
    assert np.nanmax(np.abs(foretold[0, :-1] - 5.0)) < 0.01
    assert np.isnan(foretold[1]).all()
    assert np.nanmax(np.abs(past - 4.0)) < 0.01
    assert np.isfinite(past).all()


def test_nothing_is_in_hand_before_it_was_known(log: Database, tmp_path: Path) -> None:
    measured(log, 4.0)
    take(log, farm(), table(tmp_path, 18.0))
    with log.reading() as session:
        found = chances.pairs(session, "feed", "mast", 0)
    first_known = NOW - 12 * DAY + 3 * HOUR_S
    assert min(pair.at for pair in found) + HOUR_S >= first_known
    over = NOW - HOUR_S * int(PATH_H[-1])
    assert max(pair.at for pair in found) <= over  # later ones are not over yet
    # Of a path no hour is told that the newest run then in hand did not reach.
    for pair in found:
        known = np.flatnonzero(np.isfinite(pair.foretold["wind_m_s"]))
        assert PATH_H[known[-1]] <= 48


def test_what_the_watch_kept_itself_stands_and_a_second_time_brings_nothing(
    log: Database, tmp_path: Path
) -> None:
    found = farm()
    measured(log, 4.0)
    own = {name: np.full(PATH_H.shape, 7.0) for name in chances.KEPT}
    at = (NOW - 6 * DAY) // forecast_history.EVERY_S * forecast_history.EVERY_S
    with log.writing() as session:
        site = Site(LATITUDE, LONGITUDE, wind_height_m=10.0)
        chances.put_foretold(session, "feed", "mast", site, at=at, foretold=own)
    assert take(log, found, table(tmp_path, 18.0)) > 50
    assert take(log, found, table(tmp_path, 18.0)) == 0
    with log.reading() as session:
        kept = next(p for p in chances.pairs(session, "feed", "mast", at) if p.at == at)
    assert kept.foretold["wind_m_s"][0] == 7.0


def test_without_readings_of_the_time_it_teaches_nothing(log: Database, tmp_path: Path) -> None:
    assert take(log, farm(), table(tmp_path, 18.0)) == 0


def test_what_cannot_be_is_not_learned_from(log: Database, tmp_path: Path) -> None:
    measured(log, 4.0)
    assert take(log, farm(), table(tmp_path, 18.0, cell="-3")) == 0


@pytest.mark.parametrize(
    ("cell", "changed", "said"),
    [
        ("brisk", {}, "line 2, 'WIND': 'brisk' is no number"),
        (
            None,
            {"table": ArchiveTable("started", "hour", {}, 0)},
            "no 'started'; it has run, hour, WIND",
        ),
        (None, {"table": ArchiveTable("WIND", "hour", {}, 0)}, "line 2, 'WIND': '18.0' is no time"),
    ],
)
def test_a_table_that_is_none_is_told_with_its_line(
    log: Database, tmp_path: Path, cell: str | None, changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(BadArchiveError, match=said):
        take(log, farm(), table(tmp_path, 18.0, cell=cell), **changed)


def previous_runs(folder: Path, **changed: Any) -> Path:
    """As Open-Meteo answers of previous runs: so many days before, so many m/s too much."""
    times = np.arange(NOW - 12 * DAY, NOW, HOUR_S)
    hourly: dict[str, Any] = {
        "time": [f"{datetime.fromtimestamp(t, UTC):%Y-%m-%dT%H:%M}" for t in times.tolist()]
    }
    units = {"time": "iso8601"}
    for day in range(1, 4):
        hourly[f"wind_speed_10m_previous_day{day}"] = [4.0 + day] * times.size
        units[f"wind_speed_10m_previous_day{day}"] = "m/s"
    body = {
        "latitude": LATITUDE,
        "longitude": LONGITUDE,
        "elevation": 350.0,
        "utc_offset_seconds": 0,
        "hourly": hourly,
        "hourly_units": units,
    }
    file = folder / "previous.json"
    file.write_text(json.dumps(body | changed))
    return file


def test_of_previous_runs_each_hour_is_as_it_was_foretold_by_then(
    log: Database, tmp_path: Path
) -> None:
    measured(log, 4.0)
    assert take(log, farm(), previous_runs(tmp_path), feed="other") > 50
    with log.reading() as session:
        pair = chances.pairs(session, "other", "mast", NOW - 8 * DAY)[0]
    # Known an hour after the path's hour 0: to 24 h ahead of that it is the day before's word.
    days = np.clip(np.floor((PATH_H - 1) / 24) + 1, 1, 3)
    assert pair.foretold["wind_m_s"] == pytest.approx(4.0 + days, abs=0.01)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"hourly": {"time": []}}, "no variable that ends in _previous_day1"),
        ({"hourly": None}, "not what Open-Meteo answers"),
        ({"latitude": 10.0}, "of 1 days before: it is for 10.0"),
    ],
)
def test_an_answer_that_is_none_is_told(
    log: Database, tmp_path: Path, changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(BadArchiveError, match=said):
        take(log, farm(), previous_runs(tmp_path, **changed), feed="other")


@needs_archive
def test_a_real_archive_is_read_as_the_bench_reads_it(log: Database) -> None:
    """HRRR at Hill City, June 2021: components of the wind, gzip, an aerodrome's reports."""
    archive = hill_city()
    hours = archive.measured["wind_m_s"]
    times = np.array(sorted(hours))
    site = Site(LATITUDE, LONGITUDE, wind_height_m=10.0)
    mast = WeatherSeries.of(
        times, site, "mast", {"wind_m_s": np.array([hours[t] for t in times.tolist()])}
    )
    with log.writing() as session:
        weather.add_observations(session, Observations(mast), int(times[-1]))
    columns = {"wind_east": ("u_wind_10m", "m/s"), "wind_north": ("v_wind_10m", "m/s")}
    said = ArchiveTable("model_run", "fcst_time", columns, 2 * HOUR_S)
    file = FOLDER / "hill_city_hrrr_2021_06.csv.gz"
    count = take(log, farm(), file, table=said, now=int(times[-1]) + 5 * DAY)
    assert count > 150
    with log.reading() as session:
        found = chances.pairs(session, "feed", "mast", 0)
    compared = 0
    for pair in found:
        runs = [r for r in archive.runs[0] if r + 2 * HOUR_S <= pair.at + HOUR_S]
        newest = archive.runs[0][max(runs)]["wind_m_s"]
        for hour, wind in zip(PATH_H.tolist(), pair.foretold["wind_m_s"].tolist(), strict=True):
            time = pair.at + HOUR_S * hour
            if time in newest and np.isfinite(wind):
                assert wind == pytest.approx(newest[time], rel=2e-3, abs=2e-3)
                compared += 1
    assert compared > 1000
