"""Real one-minute days of five places, from the reference material."""

from pathlib import Path

import pandas as pd
import pytest

from tests.support.real_days import alamosa
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

TUNED_ON = {
    "cleveland": Site(41.5, -81.6, 200.0),
    "sgp": Site(36.605, -97.485, 318.0),
    "bnf": Site(34.34, -87.34, 293.0),
    "san_diego": Site(32.9, -116.8, 800.0),
}
"""The places whose days the constants of the warnings were fitted on."""


def minute_days(shared: Path) -> dict[str, WeatherSeries]:
    """Return the days of each place the constants were fitted on, a place as one series."""
    folder = shared / "data" / "minutes"
    if not folder.is_dir():
        pytest.skip(f"no one-minute days at {folder}")
    return {place: _of(folder, place, site) for place, site in TUNED_ON.items()}


def left_out(shared: Path) -> WeatherSeries:
    """Return the day no constant was ever fitted on."""
    return alamosa(shared)


def _of(folder: Path, place: str, site: Site) -> WeatherSeries:
    rows = pd.concat(pd.read_csv(path) for path in sorted(folder.glob(f"{place}_*.csv.gz")))
    since = pd.to_datetime(rows["time"]) - pd.Timestamp(0, tz="UTC")
    seconds = since.dt.total_seconds().astype("int64")
    rows = rows.assign(seconds=seconds).drop_duplicates("seconds").sort_values("seconds")
    known = {name: rows[name].to_numpy() for name in rows.columns if name in QUANTITIES}
    return WeatherSeries.of(rows["seconds"].to_numpy(), site, place, known)
