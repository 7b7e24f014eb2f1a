"""How often a source usually reports, learned from what it reported."""

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Floats, Seconds

WEEK_S = 7 * 86_400
LEAST_HOURS = 6
"""Fewer hours of a week tell nothing of what is usual (no source)."""
LEAST_READINGS = 4
"""Fewer readings tell nothing of the usual time between two (no source)."""


def usual_step_s(times: Seconds) -> float:
    """Return the median time between readings, sorted by time; NaN for too few. [s]"""
    return float(np.median(np.diff(times))) if times.size >= LEAST_READINGS else np.nan


def usual_counts(hours: Seconds, counts: NDArray[np.int64]) -> Floats:
    """Return how many readings the hours of its week usually have, for every hour. [H]

    The median over those with any, week by week, since a station may be set anew. NaN in a week
    with fewer than ``LEAST_HOURS`` of them. ``hours`` are sorted.
    """
    weeks = hours // WEEK_S
    usual = np.full(hours.shape, np.nan)
    for week in np.unique(weeks):
        of_week = weeks == week
        given = counts[of_week & (counts > 0)]
        if given.size >= LEAST_HOURS:
            usual[of_week] = np.median(given)
    return usual


def whole_weeks(start: int, end: int) -> tuple[int, int]:
    """Return the beginning and the end of the weeks that ``start <= time < end`` lies in."""
    return start // WEEK_S * WEEK_S, -(-end // WEEK_S) * WEEK_S
