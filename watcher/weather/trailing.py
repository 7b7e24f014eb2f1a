"""What was read in the minutes before a moment: only ever looking back.

Windows are half open, ``(end - width, end]``, so a reading counts in the window that ends at its
own time. All windows of a day are judged in one call; missing readings are left out, and a window
in which nothing is known gives NaN.
"""

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Floats, Seconds

Indices = NDArray[np.intp]

# Range of a wind speed in the WMO's quality control of stations (Zahumensky 2004).
FASTEST_M_S = 75.0


def means(*, times: Seconds, values: Floats, width_s: int, count: int = 1) -> Floats:
    """Return the means of the last ``count`` windows before every time, newest first. [T, count]"""
    first, last = _windows(times, width_s, count)
    known = _summed(np.isfinite(values).astype(np.float64), first, last)
    total = _summed(np.where(np.isfinite(values), values, 0.0), first, last)
    return np.where(known > 0, total / np.maximum(known, 1.0), np.nan)


def highs(*, times: Seconds, values: Floats, width_s: int, count: int = 1) -> Floats:
    """Return the highest values of the last ``count`` windows, newest first. [T, count]"""
    first, last = _windows(times, width_s, count)
    return np.where(first < last, _reduced(np.fmax, values, first, last), np.nan)


def known_share(*, times: Seconds, values: Floats, width_s: int, step_s: int) -> Floats:
    """Return the share of the readings due in the window before every time that is known. [T]

    ``step_s`` is the time between readings; 1 is the most.
    """
    first, last = _windows(times, width_s, 1)
    known = _summed(np.isfinite(values).astype(np.float64), first, last)[:, 0]
    return np.minimum(known * step_s / width_s, 1.0)


def plausible_wind(values_m_s: Floats) -> Floats:
    """Return the speeds, NaN where one is negative, infinite or beyond any wind."""
    possible = (values_m_s >= 0.0) & (values_m_s <= FASTEST_M_S)
    return np.where(possible, values_m_s, np.nan)


def mean_of(steps: Floats) -> Floats:
    """Return the mean of what is known along the last axis, NaN where nothing is."""
    known = np.isfinite(steps).sum(axis=-1)
    total = np.where(np.isfinite(steps), steps, 0.0).sum(axis=-1)
    return np.where(known > 0, total / np.maximum(known, 1), np.nan)


def median_of(steps: Floats) -> Floats:
    """Return the median of what is known along the last axis, NaN where nothing is."""
    known = np.isfinite(steps).sum(axis=-1)
    ordered = np.sort(steps, axis=-1)  # NaN last
    return 0.5 * (taken(ordered, (known - 1) // 2) + taken(ordered, known // 2))


def taken(ordered: Floats, at: Indices) -> Floats:
    """Return ``ordered[..., at]`` row by row; an index below 0 takes the first."""
    held = np.clip(at, 0, ordered.shape[-1] - 1)
    return np.take_along_axis(ordered, held[..., None], axis=-1)[..., 0]


def _windows(times: Seconds, width_s: int, count: int) -> tuple[Indices, Indices]:
    ends = times[:, None] - width_s * np.arange(count)
    first = np.searchsorted(times, ends - width_s, side="right")
    return first, np.searchsorted(times, ends, side="right")


def _summed(values: Floats, first: Indices, last: Indices) -> Floats:
    return np.where(first < last, _reduced(np.add, values, first, last), 0.0)


def _reduced(ufunc: np.ufunc, values: Floats, first: Indices, last: Indices) -> Floats:
    """Reduce ``values[first:last]`` for every pair; an empty window gives nonsense."""
    # reduceat takes the pairs interleaved; its odd results span from one window to the next.
    pairs = np.stack([first, last], axis=-1).ravel()
    found: Floats = ufunc.reduceat(np.append(values, 0.0), pairs)[::2]
    return found.reshape(first.shape)
