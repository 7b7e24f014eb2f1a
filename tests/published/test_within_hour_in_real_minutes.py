"""Inside the hour, against a summer of an airport's one-minute winds.

US National Weather Service one-minute data (public domain), July to September 2013. An hour's mean
is given; whether all its ten-minute means keep within a bound is what patterns must tell.
"""

import csv
import gzip
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from watcher.forecasts import scores
from watcher.forecasts.within_hour import STEP_S, STEPS, Patterns, spread_out
from watcher.weather.bins import over_bins
from watcher.weather.series import Floats, Seconds, Site, WeatherSeries

HOUR = 3600
HIGH_M_S = 5 * 0.44704
"""Near the middle of that place's winds: a bound that many hours come near."""
DRAWS = 100


@pytest.fixture(scope="module")
def bins(shared: Path) -> tuple[Seconds, Floats]:
    """Times and winds of its ten-minute bins."""
    with gzip.open(shared / "data/minutes/cleveland_2013_jul_sep.csv.gz", "rt") as text:
        rows = [(r["time"], r["wind_m_s"]) for r in csv.DictReader(text) if r["wind_m_s"]]
    times = np.array([int(datetime.fromisoformat(at).timestamp()) for at, _ in rows])
    wind = {"wind_m_s": np.array([float(w) for _, w in rows])}
    found = over_bins(WeatherSeries.of(times, Site(41.5, -81.6), "airport", wind), width_s=STEP_S)
    return found.series.times, found.series.wind_m_s


def _whole_hours(times: Seconds, wind: Floats) -> tuple[Seconds, Floats]:
    _, first, count = np.unique(times // HOUR, return_index=True, return_counts=True)
    at = first[count == STEPS][:, None] + np.arange(STEPS)
    return times[at[:, 0]], wind[at]


def _chances(mean: Floats, patterns: Patterns) -> Floats:
    wind = np.broadcast_to(mean, (DRAWS, mean.size))
    halves, _ = spread_out(wind, wind * 1.5, patterns, np.random.default_rng(0))
    highest = halves.reshape(DRAWS, mean.size, -1).max(axis=-1)
    share: Floats = (highest <= HIGH_M_S).mean(axis=0)
    return share


def test_patterns_tell_whether_an_hour_keeps_within_a_bound(bins: tuple[Seconds, Floats]) -> None:
    times, wind = bins
    july = times < times[0] + 31 * 24 * HOUR
    own = Patterns.of(times[july], wind[july], np.full(july.sum(), np.nan))
    assert len(own.wind) > 300
    starts, means = _whole_hours(times[~july], wind[~july])
    mean, came = means.mean(axis=1), (means <= HIGH_M_S).all(axis=1)
    close = np.abs(mean / HIGH_M_S - 1.0) < 0.25  # elsewhere the hour itself decides
    mean, came, days = mean[close], came[close], starts[close] // (24 * HOUR)
    assert came.size > 150

    learned = _chances(mean, own)
    none = Patterns.of(times[:0], wind[:0], wind[:0])
    general = _chances(mean, none)
    as_mean = (mean <= HIGH_M_S).astype(float)
    better = scores.by_days(
        lambda at: scores.brier_skill(learned[at], as_mean[at], came[at]), days, draws=200
    )
    assert better.low > 0
    assert abs(learned.mean() - came.mean()) < 0.05
    assert abs(as_mean.mean() - came.mean()) > 0.1
    assert scores.brier(general, came) < scores.brier(as_mean, came)
