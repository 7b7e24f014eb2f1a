"""Every crossing of a bound, and of a gust's, is told within a minute, or said not to be seen.

Simulated days (``tests/weather/simulated_days.py``) know the 3 s gust and the running 10-minute
mean to the second, so the reporting step and failing sensors can be tried. A crossing is the first
moment either is over its bound in a working hour with wind, after ten minutes in which neither was.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.warning_score import Minutes
from tests.weather.simulated_days import DAY_S, START, Day, simulate, with_faults
from watcher.sources.base import Observations
from watcher.sources.quality.check import check
from watcher.weather.nowcast import crossing
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import means

pytestmark = pytest.mark.bench

MPH = 0.44704
WIND_M_S, GUST_M_S = 10 * MPH, 15 * MPH
DAYS = range(20_000, 20_060)
_QUIET_S, _LEAST_WIND_M_S = 600, 1.3
_WORK = (6 * 3600, 20 * 3600)

Bools = NDArray[np.bool_]
Seen = Callable[[WeatherSeries, int], WeatherSeries]
STATIONS: dict[str, tuple[int, Seen]] = {
    "every minute": (60, lambda series, _: series),
    "every 10 s": (10, lambda series, _: series),
    "every 5 min": (300, lambda series, _: series),
    "every minute, failing sensors": (60, with_faults),
}


@dataclass
class Tally:
    """Of how many crossings what was told."""

    seen: int = 0
    blind: int = 0
    crossings: int = 0


def _crossings(day: Day) -> NDArray[np.intp]:
    """Return the seconds of the day at which a bound is crossed."""
    mean = np.concatenate([np.zeros(59), np.repeat(day.ten_minute_mean_m_s[59::60], 60)])[:DAY_S]
    over: Bools = (mean > WIND_M_S) | (day.gust_m_s > GUST_M_S)
    total = np.insert(np.cumsum(over), 0, 0)
    second = np.arange(DAY_S)
    quiet = total[second + 1] == total[np.maximum(second - _QUIET_S + 1, 0)]
    working = (second >= _WORK[0]) & (second < _WORK[1]) & (mean >= _LEAST_WIND_M_S)
    return np.flatnonzero(over[1:] & (quiet & working)[:-1]) + 1


def _tally(tally: Tally, at: NDArray[np.intp], series: WeatherSeries, step_s: int) -> None:
    usable = check(Observations(series)).usable()
    now = crossing(usable, wind_bound_m_s=WIND_M_S, gust_bound_m_s=GUST_M_S, step_s=step_s)
    seconds = series.times - START
    for second in at.tolist():
        soon = (seconds >= second) & (seconds <= second + 60)
        found = bool(now.warns[soon].any())
        tally.crossings += 1
        tally.seen += found
        tally.blind += not found and bool(now.unknown[soon].any())


def test_crossings_are_told_within_a_minute() -> None:
    found = {name: Tally() for name in STATIONS}
    for seed in DAYS:
        day = simulate(seed)
        at = _crossings(day)
        for name, (step_s, seen) in STATIONS.items():
            _tally(found[name], at, seen(day.station(step_s), seed), step_s)
    print("\n| station | crossings | told within 60 s | not told, but said not to be seen |")
    print("|---" * 4 + "|")
    for name, tally in found.items():
        shares = (f"{n / tally.crossings:.1%}" for n in (tally.seen, tally.blind))
        print(f"| {name} | {tally.crossings} | {' | '.join(shares)} |")
    usual = found["every minute"]
    assert usual.crossings > 50
    assert usual.seen == usual.crossings


def test_abrupt_rises_are_as_seldom_as_on_real_days() -> None:
    """About four in a hundred crossings of 8 to 12 mph: 2.5 m/s over 10 to 30 minutes before."""
    crossings = abrupt = 0
    for seed in DAYS:
        series = simulate(seed).station(60)
        rise = _rise(series)
        for bound in (8, 10, 12):
            at = Minutes.of(series, MPH * bound).crossings
            crossings += at.size
            abrupt += sum(bool(np.nanmax(rise[max(i - 9, 0) : i + 1]) >= 2.5) for i in at)
    print(f"\n{abrupt} of {crossings} crossings are abrupt: {abrupt / crossings:.1%}")
    assert 0.01 <= abrupt / crossings <= 0.08


def _rise(series: WeatherSeries) -> Floats:
    """Return the mean of five minutes over that of 10 to 30 minutes before."""
    fives = means(times=series.times, values=series.wind_m_s, width_s=300, count=6)
    before: Floats = np.nanmean(np.where(np.isnan(fives[:, 2:]), 0.0, fives[:, 2:]), axis=1)
    return fives[:, 0] - before
