"""Archived forecasts with what came, as the histories that chances are learned from."""

import csv
import gzip
import warnings
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from watcher.forecasts.history import HOUR_S, PATH_H, History
from watcher.weather.series import Floats

FOLDER = Path("/work/shared/data/forecasts")
NAMES = ("wind_m_s", "gust_m_s", "wind_from_deg", "temp_c", "dew_point_c")
RAIN = ("rain_mm_h", "rain_chance_pct")
needs_archive = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"{FOLDER} is not there")


@dataclass(frozen=True)
class Archive:
    """Runs of some feeds at one place, all in hand so many hours after they were started."""

    longitude: float
    runs: list[Mapping[int, Mapping[str, Mapping[int, float]]]]
    """By feed: run → quantity → time → value."""
    measured: Mapping[str, Mapping[int, float]]
    in_hand_after_h: int = 2

    def moments(self) -> list[int]:
        """When runs were in hand, in order."""
        return [run + HOUR_S * self.in_hand_after_h for run in sorted(set().union(*self.runs))]

    def history(self, now: int) -> History:
        """All that was known at a moment: nothing measured after it is in it."""
        at = np.array([m for m in self.moments() if m <= now])
        times = at[:, None] + HOUR_S * PATH_H
        foretold = {
            name: np.stack([self._foretold(feed, name, at, times) for feed in self.runs])
            for name in (*NAMES, *RAIN)
        }
        measured = {
            name: np.where(times <= now, _looked_up(self.measured.get(name, {}), times), np.nan)
            for name in (*NAMES, "rain_mm_h")
        }
        return History(at, self.longitude, foretold, measured)

    def _foretold(
        self,
        feed: Mapping[int, Mapping[str, Mapping[int, float]]],
        name: str,
        at: np.ndarray,
        times: np.ndarray,
    ) -> Floats:
        runs = [feed.get(int(a) - HOUR_S * self.in_hand_after_h, {}) for a in at]
        return np.stack([_looked_up(r.get(name, {}), t) for r, t in zip(runs, times, strict=True)])


def _looked_up(values: Mapping[int, float], times: np.ndarray) -> Floats:
    found = [values.get(int(t), np.nan) for t in times.ravel()]
    return np.array(found, dtype=np.float64).reshape(times.shape)


def hill_city() -> Archive:
    """Two weather models' runs of a month, with an aerodrome's hourly reports."""
    feeds = [_runs(FOLDER / f"hill_city_{model}_2021_06.csv.gz") for model in ("hrrr", "gfs")]
    measured: dict[str, dict[int, float]] = defaultdict(dict)
    for row in _rows(FOLDER / "hill_city_observed_2021_06.csv.gz"):
        at = _epoch(row["observation_time"])
        for name, key, less in (
            ("wind_m_s", "wind_speed_mps", 0.0),
            ("temp_c", "temperature_k", 273.15),
            ("dew_point_c", "dewpoint_k", 273.15),
        ):
            if row[key]:
                measured[name][at] = float(row[key]) - less
    return Archive(-99.8, feeds, measured)


def _runs(file: Path) -> dict[int, dict[str, dict[int, float]]]:
    runs: dict[int, dict[str, dict[int, float]]] = defaultdict(lambda: defaultdict(dict))
    for row in _rows(file):
        run, at = _epoch(row["model_run"]), _epoch(row["fcst_time"])
        u, v = _number(row["u_wind_10m"]), _number(row["v_wind_10m"])
        runs[run]["wind_m_s"][at] = float(np.hypot(u, v))
        runs[run]["wind_from_deg"][at] = float(np.degrees(np.arctan2(-u, -v)) % 360.0)
        runs[run]["temp_c"][at] = _number(row["sfc_air_temperature"])
        runs[run]["dew_point_c"][at] = _number(row["sfc_dewpoint"])
    return runs


def _rows(file: Path) -> list[dict[str, str]]:
    with gzip.open(file, "rt") as text:
        return list(csv.DictReader(text))


def _number(text: str) -> float:
    return float(text) if text else np.nan


def _epoch(text: str) -> int:
    return int(datetime.fromisoformat(text.removesuffix(" UTC")).replace(tzinfo=UTC).timestamp())


def denmark(every: int = 3) -> Archive:
    """Hourly issues of temperature in a winter with what was measured; one issue in ``every``."""
    rdata = pytest.importorskip("rdata", reason="rdata reads the archive; it is not installed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a class of times that the package does not know
        table = rdata.read_rda(FOLDER / "denmark_hourly_issues_2010.rda")["Dbuilding"]
    at = [int(t) for t in table["t"]]
    issued = _finite(table["Ta"])
    runs = {
        at[i]: {"temp_c": {at[i] + HOUR_S * (k + 1): issued[i, k] for k in range(issued.shape[1])}}
        for i in range(0, len(at), every)
    }
    for i in range(0, len(at), every):  # the hour just measured is of the issue an hour before
        for back in range(3):
            if i - 1 - back >= 0:
                runs[at[i]]["temp_c"][at[i] - HOUR_S * back] = issued[i - 1 - back, 0]
    measured = {"temp_c": dict(zip(at, _finite(table["Taobs"]), strict=True))}
    return Archive(10.0, [runs], measured, in_hand_after_h=0)


def _finite(values: object) -> Floats:
    """Infinite values are missing ones."""
    found = np.asarray(values, dtype=np.float64)
    return np.where(np.isfinite(found), found, np.nan)


def gust_rows(part: str) -> dict[int, tuple[Floats, Floats]]:
    """Measured gusts [R] and the members foretold [R, 20] of each anonymous station, in order."""
    rdata = pytest.importorskip("rdata", reason="rdata reads the archive; it is not installed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table = rdata.read_rda(FOLDER / "gust_ensemble" / f"df_{part}.RData")[f"df_{part}"]
    names = [f"ens_{m}" for m in range(1, 21)]
    return {
        int(place): (rows["obs"].to_numpy(np.float64), rows[names].to_numpy(np.float64))
        for place, rows in table.groupby("location")
    }
