"""A trend that will carry the 10-minute mean wind over its bound within minutes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import mean_of, means, median_of, plausible_wind, taken

HORIZON_S = 600.0
# The mean of ten minutes lags a line through the wind by half of them.
LAG_S = 300.0
# In standard deviations: nine in ten on one side.
CONFIDENCE = 1.28

# Shorter, and the eddies of a sunny day (five to ten minutes each) look like trends: on simulated
# days a quarter of an hour raised over twice as many false ones for as many true.
_SPAN_S = 1800
_SHORTEST_STEP_S = 60
_FEWEST_STEPS = 8
_MEAN_S = 600
# A jump is too young for a line: three steps (their median, so that one bad reading does not
# count) this far over the bound carry the mean over it if they last (tuned on simulated days).
_JUMP_STEPS = 3
_JUMP = 1.15


@dataclass(frozen=True)
class Trend:
    """Whether the wind is on its way over the bound; arrays of times [T], or [..., T] of bounds."""

    told: NDArray[np.bool_]
    unknown: NDArray[np.bool_]
    slope_m_s_per_min: Floats  # Theil-Sen, [T]
    expected_s: Floats  # until the 10-minute mean crosses; inf: not on this line


def rising(
    series: WeatherSeries,
    *,
    bound_m_s: ArrayLike,
    step_s: int,
    horizon_s: float = HORIZON_S,
    confidence: float = CONFIDENCE,
) -> Trend:
    """Tell where the 10-minute mean will pass ``bound_m_s`` within ``horizon_s``.

    A line through the last half hour of the wind, in steps of a minute or of ``step_s`` (the time
    between readings) if that is longer, then at least eight steps. The slope is the median of the
    slopes between all pairs (Theil 1950; Sen 1968), so a single bad reading hardly moves it. Told
    only if a cautious line too rises and reaches the bound in time: its slope is the lower limit of
    Sen's interval, ``confidence`` standard deviations of Kendall's S below the median.
    Told too if the last three steps, by their median, are well over the bound already: a jump.
    ``expected_s`` is the sooner of the median slope's line and the jump's lasting. Unknown where
    fewer than half of the steps have a reading (with few, the interval widens by itself).

    ``bound_m_s`` is at the height of the sensor and broadcasts with the times.
    """
    width = max(step_s, _SHORTEST_STEP_S)
    count = max(_SPAN_S // width, _FEWEST_STEPS)
    wind = plausible_wind(series.wind_m_s)
    steps = means(times=series.times, values=wind, width_s=width, count=count)
    slope, cautious = _slopes(steps, width, confidence)
    bound = np.asarray(bound_m_s, dtype=np.float64)
    jump = _jump_until(bound, steps, width)
    line = _line_until(bound, _level(steps, slope, width), slope)
    surely = _line_until(bound, _level(steps, cautious, width), cautious)
    with np.errstate(invalid="ignore"):
        told = (surely <= horizon_s) | (jump <= horizon_s)
    expected = np.where(np.isfinite(jump), np.fmin(line, jump), line)
    return Trend(told, np.isnan(expected), slope * 60.0, expected)


def _slopes(steps: Floats, width_s: int, confidence: float) -> tuple[Floats, Floats]:
    """Return the median and the cautious slope (per second) of each row of steps, newest first."""
    newer, older = np.triu_indices(steps.shape[1], k=1)
    slopes = np.sort((steps[:, newer] - steps[:, older]) / ((older - newer) * width_s), axis=1)
    known = np.isfinite(steps).sum(axis=1)
    pairs = known * (known - 1) / 2.0
    kendall = np.sqrt(known * (known - 1) * (2 * known + 5) / 18.0)
    rank = np.rint((pairs - confidence * kendall) / 2.0).astype(np.intp) - 1
    enough = 2 * known >= steps.shape[1]
    return (
        np.where(enough, median_of(slopes), np.nan),
        np.where(enough, taken(slopes, rank), np.nan),
    )


def _level(steps: Floats, slope: Floats, width_s: int) -> Floats:
    """Return where a line of a slope through the middle of the steps stands now."""
    age = (np.arange(steps.shape[1]) + 0.5) * width_s
    return median_of(steps + slope[:, None] * age)


def _line_until(bound: Floats, level: Floats, slope: Floats) -> Floats:
    """Return the seconds until the 10-minute mean of a line passes the bound."""
    rise = np.where(slope > 0, slope, 1.0)
    seconds = np.maximum((bound - level) / rise + LAG_S, 0.0)
    on_line = np.where(slope > 0, seconds, np.inf)
    return np.where(np.isnan(level + bound), np.nan, on_line)


def _jump_until(bound: Floats, steps: Floats, width_s: int) -> Floats:
    """Return the seconds until the mean passes the bound if the newest steps last; inf: no jump."""
    latest = steps[:, :_JUMP_STEPS]
    known = np.isfinite(latest).all(axis=1) & (_JUMP_STEPS * width_s <= _MEAN_S)
    level, mean = median_of(latest), mean_of(steps[:, : _MEAN_S // width_s])
    with np.errstate(invalid="ignore"):
        jumped = known & (level > _JUMP * bound)
        climb = np.where(jumped & (mean < bound), level - mean, 1.0)
    return np.where(jumped, np.maximum(bound - mean, 0.0) / climb * _MEAN_S, np.inf)
