"""How far a source can be trusted: one whose values often fail is demoted until they don't.

MADIS' statistical check has the same shape: a station that failed most checks of the last days
goes on failing until it has improved to a quarter. A quarter of the last day is where trust ends
here.
"""

from collections.abc import Mapping

import numpy as np

from watcher.sources.base import Observations
from watcher.weather.series import WeatherSeries

DAY_S = 24 * 3600
MOST_DOUBTED = 0.25
"""Share of the last day's values with a finding above which a quantity is not believed at all."""
LEAST_VALUES = 12
"""Fewer values in a day tell nothing of the source (no source, as for a stuck sensor)."""


def doubted_shares(observations: Observations, now: int) -> dict[str, float]:
    """Return the share of each quantity's values of the last day that quality control doubts.

    Quantities with fewer than ``LEAST_VALUES`` values are left out.
    """
    first, last = np.searchsorted(observations.series.times, [now - DAY_S, now + 1])
    day = slice(int(first), int(last))
    shares = {}
    for name, values in observations.series.at(day).quantities().items():
        given = np.isfinite(values)
        if np.count_nonzero(given) >= LEAST_VALUES:
            flags = observations.flags.get(name, np.zeros(len(observations.series), np.uint16))
            shares[name] = float(np.mean(flags[day][given] != 0))
    return shares


def demoted(observations: Observations, now: int) -> dict[str, float]:
    """Return the quantities the source is not believed in, with the share that is doubted."""
    shares = doubted_shares(observations, now)
    return {name: share for name, share in shares.items() if share > MOST_DOUBTED}


def trusted(observations: Observations, now: int) -> WeatherSeries:
    """Return what of the observations may be judged: without findings, without the demoted.

    The next source in the farm's order then speaks for such a quantity, or nobody.
    """
    distrusted: Mapping[str, float] = demoted(observations, now)
    missing = np.full(len(observations.series), np.nan)
    return observations.usable().having(**dict.fromkeys(distrusted, missing))
