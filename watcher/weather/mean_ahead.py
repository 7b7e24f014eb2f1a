"""The chance that the 10-minute mean wind passes a bound within the next ten minutes.

In h minutes that mean is made of the last 10 - h minutes, which are known, and of h minutes to
come. Those do not go on along a line: they fall back towards the last hour, the newest minute
counting ever less. Nothing else one station measures (slopes, spread, turn, temperature, pressure,
sun, hour) foretold real winds any better, so nothing else is asked here.

Every constant was fitted on 64 days of real one-minute winds of four places; ``spread_scale`` fits
how far the wind strays to a station's own log (``watcher.weather.straying``).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import known_share, mean_of, means, plausible_wind

Bools = NDArray[np.bool_]

HORIZON_MIN = 10
BEGINS_FROM = 0.3
"""The chance a warning begins at: one in three missed warnings costs what a false one does."""
LASTS_FROM = 0.1
"""The chance it ends below. A third fewer false warnings than one threshold gives, for little."""
EARLIER_IF_RARE = 0.1
"""Five-minute readings come so late that a warning begins at this much less."""
RARE_S = 180
"""Readings at least this far apart are judged as five-minute means. [s]"""

# Stations lose a tenth of their minutes and more; half of the ten still tells where the wind is.
_LEAST_KNOWN = 0.5
_MEAN_S = 600
_MINUTE_S = 60
_HOUR_MIN = 60
_erf = np.vectorize(math.erf, otypes=[np.float64])
_H: Floats = np.arange(1.0, HORIZON_MIN + 1)[:, None]
# The sensor's own resolution: a calm is not foretold for certain.
_LEAST_SPREAD_M_S = 0.05


@dataclass(frozen=True)
class MeanAhead:
    """How likely the bound is passed; arrays of times [T], or [..., T] of bounds."""

    warns: Bools
    """From the chance a warning begins at until the chance falls below the one it ends at."""
    begins: Bools
    """The chance is one a warning begins at."""
    lasts: Bools
    """The chance is one at which a warning goes on."""
    unknown: Bools
    chance: Floats  # 0 to 1
    mean_m_s: Floats  # of the last ten minutes, [T]
    expected_m_s: Floats  # the mean of the next ten minutes, [T]


def mean_ahead(
    series: WeatherSeries,
    *,
    bound_m_s: ArrayLike,
    step_s: int,
    begins_from: float = BEGINS_FROM,
    spread_scale: float = 1.0,
) -> MeanAhead:
    """Return the chance that the 10-minute mean passes ``bound_m_s`` within ten minutes.

    The largest of the chances for each of the next ten minutes. ``step_s`` is the time between
    readings (10 s to 5 min); ``bound_m_s`` is at the height of the sensor and broadcasts with the
    times. ``begins_from`` is the chance a warning begins at with a reading a minute. Unknown
    where less than half of the last ten minutes is known.
    """
    rare = step_s >= RARE_S
    expected, spread = foretold(series, step_s=step_s)
    wind = plausible_wind(series.wind_m_s)
    share = known_share(times=series.times, values=wind, width_s=_MEAN_S, step_s=step_s)
    seen = share >= _LEAST_KNOWN
    bound = np.asarray(bound_m_s, dtype=np.float64)
    nearest = np.full(np.broadcast_shapes(bound.shape, seen.shape), -np.inf)
    for mean, error in zip(expected, spread * spread_scale, strict=True):
        nearest = np.maximum(nearest, (mean - bound) / error)
    chance: Floats = np.where(seen, _normal_share_below(nearest), np.nan)
    unknown = np.isnan(chance)
    with np.errstate(invalid="ignore"):
        begins = chance >= (begins_from - EARLIER_IF_RARE if rare else begins_from)
        lasts = chance >= LASTS_FROM
    now = means(times=series.times, values=wind, width_s=_MEAN_S)[:, 0]
    return MeanAhead(
        _latched(begins, lasts, unknown),
        begins,
        lasts,
        unknown,
        chance,
        np.where(seen, now, np.nan),
        np.where(seen, expected[-1], np.nan),
    )


def foretold(series: WeatherSeries, *, step_s: int) -> tuple[Floats, Floats]:
    """Return the 10-minute mean expected in 1 to 10 minutes and its standard error. [10, T]"""
    wind = plausible_wind(series.wind_m_s)
    width = max(step_s, _MINUTE_S)
    # Each minute of the last hour, newest first, is in the step that covers its middle.
    step_of = ((np.arange(_HOUR_MIN) + 0.5) * _MINUTE_S / width).astype(np.intp)
    steps = means(times=series.times, values=wind, width_s=width, count=int(step_of[-1]) + 1)
    minutes = steps[:, step_of]
    return _of_minutes(minutes) if step_s < RARE_S else _of_fives(minutes)


def _of_minutes(minutes: Floats) -> tuple[Floats, Floats]:
    """The same from the means of the last sixty minutes, newest first. [T, 60]"""
    m10, m30, m60 = (mean_of(minutes[:, :n]) for n in (10, 30, 60))
    m3 = _or(mean_of(minutes[:, :3]), m10)
    m1 = _or(minutes[:, 0], m3)
    usual = 0.11 * m3 + 0.31 * m10 + 0.30 * m30 + 0.28 * m60
    to_come = usual + 0.41 * _H**-0.53 * (m1 - usual)
    known = [_or(mean_of(minutes[:, : HORIZON_MIN - h]), m3) for h in range(1, HORIZON_MIN)]
    # The spread of half an hour, credited with ten minutes more of a usual gustiness of a fifth.
    spread = _spread(minutes[:, :30], m30, usual_share=0.2, counts_as=10)
    strays = np.array([0.110, 0.197, 0.273, 0.345, 0.413, 0.481, 0.547, 0.614, 0.680, 0.746])
    return _mixed(known, to_come), strays[:, None] * spread


def _of_fives(minutes: Floats) -> tuple[Floats, Floats]:
    """The same where minutes are known as means of about five only."""
    fives = mean_of(minutes.reshape(len(minutes), -1, 5))
    m10, m30, m60 = (mean_of(fives[:, :n]) for n in (2, 6, 12))
    last, before = _or(fives[:, 0], m10), _or(fives[:, 1], m10)
    part = (_H - 1.0) / (HORIZON_MIN - 1.0)
    to_come = (
        m10
        + 0.54 * _H**-0.34 * (last - m10)
        + (0.22 + 0.05 * part) * (m30 - m10)
        + (0.17 + 0.14 * part) * (m60 - m10)
    )
    known = [
        (max(5 - h, 0) * before + 5 * last) / (max(5 - h, 0) + 5) for h in range(1, HORIZON_MIN)
    ]
    # Means of five minutes hide most of the spread: six of them count no more than usual winds.
    spread = _spread(fives[:, :6], m30, usual_share=0.15, counts_as=6)
    strays = np.array([0.268, 0.403, 0.504, 0.585, 0.671, 0.808, 0.937, 1.045, 1.125, 1.182])
    return _mixed(known, to_come), strays[:, None] * spread


def _mixed(known: list[Floats], to_come: Floats) -> Floats:
    """Return the 10-minute mean of what is known of each time ahead and what is to come."""
    last = np.zeros_like(to_come[0])  # in ten minutes nothing of today's mean is left
    mixed: Floats = (HORIZON_MIN - _H) * np.array([*known, last]) + _H * to_come
    return mixed / HORIZON_MIN


def _spread(steps: Floats, mean: Floats, *, usual_share: float, counts_as: int) -> Floats:
    """Return the standard deviation of the steps, pulled towards a usual share of the mean."""
    count = np.isfinite(steps).sum(axis=1)
    of_steps = np.where(count > 0, mean_of((steps - mean[:, None]) ** 2), 0.0)
    whole = count * of_steps + counts_as * (usual_share * mean) ** 2
    spread: Floats = np.maximum(np.sqrt(whole / (count + counts_as)), _LEAST_SPREAD_M_S)
    return spread


def _normal_share_below(deviations: Floats) -> Floats:
    """Return the normal distribution up to so many standard deviations."""
    return np.asarray(0.5 + 0.5 * _erf(deviations / math.sqrt(2.0)))


def _or(values: Floats, otherwise: Floats) -> Floats:
    return np.where(np.isnan(values), otherwise, values)


def _latched(begins: Bools, lasts: Bools, unknown: Bools) -> Bools:
    """Return where a warning stands; not knowing neither begins nor ends one."""
    if not begins.shape[-1]:
        return begins
    decided = begins | ~lasts & ~unknown
    newest = np.where(decided, np.arange(begins.shape[-1]), 0)
    newest = np.maximum.accumulate(newest, axis=-1)
    return np.take_along_axis(begins, newest, axis=-1) & ~unknown
