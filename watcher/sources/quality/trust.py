"""How far a source can be trusted: one whose values often fail is demoted until they don't.

MADIS' statistical check has the same shape: a station that failed most checks of the last days
goes on failing until it has improved to a quarter. A quarter of the last day is where trust ends
here.
"""

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from watcher.weather.bins import Bins
from watcher.weather.series import QUANTITIES, WeatherSeries

DAY_S = 24 * 3600
"""How far back trust looks."""
MOST_DOUBTED = 0.25
"""Share of the values with a finding above which a quantity is not believed at all."""
LEAST_VALUES = 12
"""Fewer values tell nothing of the source (no source, as for a stuck sensor)."""


def doubted_shares(day: Bins) -> dict[str, float]:
    """Return the share of each quantity's values, in bins of the last day, that are doubted.

    Quantities with fewer than ``LEAST_VALUES`` values are left out.
    """
    doubted = {name: int(day.doubted[name].sum()) for name in QUANTITIES}
    given = {name: int(day.known[name].sum()) + doubted[name] for name in QUANTITIES}
    return {n: doubted[n] / given[n] for n in QUANTITIES if given[n] >= LEAST_VALUES}


def demoted(day: Bins) -> dict[str, float]:
    """Return the quantities the source is not believed in, with the share that is doubted."""
    return {name: share for name, share in doubted_shares(day).items() if share > MOST_DOUBTED}


def doubtful_hours(hours: Bins) -> dict[str, NDArray[np.bool_]]:
    """Return at which hours each quantity was not believed, by the day that ended with each. [B]"""
    times = hours.series.times
    first = np.searchsorted(times, times - DAY_S, side="right")

    def of_day(counts: NDArray[np.int64]) -> NDArray[np.int64]:
        total = np.concatenate([[0], np.cumsum(counts)])
        of_each: NDArray[np.int64] = total[1:] - total[first]
        return of_each

    found = {}
    for name in QUANTITIES:
        doubted = of_day(hours.doubted[name])
        given = of_day(hours.known[name]) + doubted
        found[name] = (given >= LEAST_VALUES) & (doubted > MOST_DOUBTED * given)
    return found


def believed(series: WeatherSeries, demoted: Collection[str]) -> WeatherSeries:
    """Return usable weather of a source without the quantities it is not believed in.

    The next source in the farm's order then speaks for such a quantity, or nobody.
    """
    missing = np.full(len(series), np.nan)
    names = {*demoted, *(("gust_m_s",) if "wind_m_s" in demoted else ())}
    unbounded = series.unbounded(names, np.ones(len(series), dtype=np.bool_))
    return unbounded.having(**dict.fromkeys(demoted, missing))
