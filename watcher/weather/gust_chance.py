"""The chance of a gust over a bound in the next minutes, from mean and spread of the last ten."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import (
    highs,
    known_share,
    mean_of,
    means,
    median_of,
    plausible_wind,
)
from watcher.weather.wind import LEAST_SHARE

HORIZON_S = 600.0
GUST_S = 3.0
# Low crops (Davenport's classes in WMO-No. 8, value from memory).
ROUGHNESS_M = 0.1
# Told from this chance on: tuned on simulated days for few false alerts.
TOLD_FROM = 0.35

# How far the mean of the next ten minutes strays from the last, as a share of how much the minutes
# among themselves do (tuned on simulated days).
_STRAY = 0.5
_SPAN_S = 600
_SHORTEST_STEP_S = 60
_FEWEST_STEPS = 5
# Mean and median of the standard Gumbel distribution, which highest values follow.
_MEAN_HIGHEST = 0.5772156649
_MEDIAN_HIGHEST = 0.3665129206
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)


@dataclass(frozen=True)
class GustChance:
    """The chance of a gust over the bound; arrays of times [T], or [..., T] of bounds."""

    told: NDArray[np.bool_]
    unknown: NDArray[np.bool_]
    chance: Floats  # 0 to 1
    mean_m_s: Floats  # of the last ten minutes, [T]
    spread_m_s: Floats  # standard deviation of the 3 s wind, [T]
    likely_gust_m_s: Floats  # the expected highest 3 s gust of the next minutes, [T]
    neutral: NDArray[np.bool_]  # the spread leans on neutral turbulence, not on data alone, [T]


def gust_chance(
    series: WeatherSeries,
    *,
    bound_m_s: ArrayLike,
    step_s: int,
    horizon_s: float = HORIZON_S,
    told_from: float = TOLD_FROM,
    roughness_m: float = ROUGHNESS_M,
) -> GustChance:
    """Return the chance of a 3 s gust over ``bound_m_s`` within ``horizon_s``.

    Steady Gaussian turbulence passes a bound at Rice's rate, n0 exp(-(bound - mean)^2 / 2 s^2)
    (Rice 1944; Davenport 1964; for gusts Kristensen et al. 1991, Boundary-Layer Meteorol. 54), the
    mean itself straying by half of what the minutes stray. The rate is not trusted blindly: it is
    the mean of an exponential prior, weighed against how often the bound was in fact passed in the
    last ten minutes. ``bound_m_s`` is at the height of the sensor and broadcasts with the times;
    ``step_s`` is the time between readings. Unknown where too little of the ten minutes is known.

    The spread is that of the means of the steps and, within a step, the median excess of its gust
    over its mean by the peak factor. Without gusts the part within a step, and with fewer than five
    steps the least of the whole, is neutral turbulence, mean/ln(z/z0) (value from memory).
    """
    width = max(step_s, _SHORTEST_STEP_S)
    wind, gust = plausible_wind(series.wind_m_s), plausible_wind(series.gust_m_s)
    count = max(_SPAN_S // width, 2)
    steps = means(times=series.times, values=wind, width_s=width, count=count)
    tops = highs(times=series.times, values=gust, width_s=width, count=count)
    share = known_share(times=series.times, values=wind, width_s=_SPAN_S, step_s=step_s)
    mean = np.where(share >= LEAST_SHARE, mean_of(steps), np.nan)
    rate = crossing_rate(mean_m_s=mean, height_m=series.site.wind_height_m)
    spread, stray, neutral = _spread(
        mean, steps, tops, rate * width, np.log(series.site.wind_height_m / roughness_m)
    )
    bound = np.asarray(bound_m_s, dtype=np.float64)
    expected = _crossings(bound, mean, spread, stray, rate * horizon_s)
    with np.errstate(invalid="ignore"):
        chance = _chance(expected, (tops > bound[..., None]).sum(axis=-1))
        told = chance >= told_from
    likely = mean + spread * peak_factor(crossings=rate * horizon_s)
    return GustChance(told, np.isnan(chance), chance, mean, spread, likely, neutral)


def crossing_rate(*, mean_m_s: ArrayLike, height_m: float, gust_s: float = GUST_S) -> Floats:
    """Return how often a second the running ``gust_s`` mean passes upward through its mean.

    Rice's n0, the root of the second over the zeroth spectral moment, of Kaimal's along-wind
    spectrum (Kaimal et al. 1972, value from memory) averaged over ``gust_s``. Broadcasts the mean.
    """
    mean = np.asarray(mean_m_s, dtype=np.float64)
    speeds = np.geomspace(0.2, 75.0, 60)
    n = np.geomspace(1e-4, 5.0, 600)
    reduced = n * height_m / speeds[:, None]
    spectrum = reduced / n * (1.0 + 33.0 * reduced) ** (-5.0 / 3.0) * np.sinc(n * gust_s) ** 2
    second = np.trapezoid(n * n * spectrum, n, axis=1)
    return np.interp(mean, speeds, np.sqrt(second / np.trapezoid(spectrum, n, axis=1)))


def peak_factor(*, crossings: ArrayLike, gumbel: float = _MEAN_HIGHEST) -> Floats:
    """Return the expected highest value of Gaussian noise in standard deviations.

    ``crossings`` is how often the noise is expected to pass upward through its mean (Davenport
    1964: sqrt(2 ln x) + 0.5772 / sqrt(2 ln x)); below 2, where that fails, it is held at 2. The
    median highest value instead has ``gumbel`` = -ln(ln 2).
    """
    x = np.maximum(np.asarray(crossings, dtype=np.float64), 2.0)
    root = np.sqrt(2.0 * np.log(x))
    return root + gumbel / root


def _spread(
    mean: Floats, steps: Floats, tops: Floats, crossings: Floats, log_height: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return the spread of the 3 s wind, that of the steps' means, and where neutral air helps."""
    stray = np.sqrt(mean_of((steps - mean_of(steps)[:, None]) ** 2))
    # The median, so that one gust read wrongly does not count.
    excess = median_of(np.maximum(tops - steps, 0.0))
    by_gusts = excess / peak_factor(crossings=crossings, gumbel=_MEDIAN_HIGHEST)
    usual = mean / log_height
    few = np.isfinite(steps).sum(axis=1) < _FEWEST_STEPS
    spread = np.hypot(stray, np.where(np.isnan(excess), usual, by_gusts))
    spread = np.where(few, np.maximum(spread, usual), spread)
    return spread, stray, few | np.isnan(excess)


def _crossings(
    bound: Floats, mean: Floats, spread: Floats, stray: Floats, chances: Floats
) -> Floats:
    """Return how often the bound is expected to be passed, averaged over where the mean may go."""
    none = np.zeros(np.broadcast_shapes(bound.shape, mean.shape))
    for node, weight in zip(_NODES, _WEIGHTS / _WEIGHTS.sum(), strict=True):
        room = np.maximum(bound - mean - node * _STRAY * stray, 0.0)
        spreads = np.minimum(room / np.maximum(spread, 1e-9), 50.0)
        none += weight * np.exp(-chances * np.exp(-0.5 * spreads**2))
    return -np.log(np.maximum(none, 1e-12))


def _chance(expected: Floats, seen: NDArray[np.intp]) -> Floats:
    """Return the chance of at least one more, of a rate that brought ``seen`` as often as expected.

    An exponential prior of mean ``expected`` for a Poisson count: its posterior predictive.
    """
    none = (1.0 + expected) / (1.0 + 2.0 * expected)
    return 1.0 - none ** (1.0 + seen)
