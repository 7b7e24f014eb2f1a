"""The chance of a gust over a bound within ten minutes, by the gusts of the last half hour.

A gust has no inertia: a chance for the next minutes tells little more than how often such gusts
come in this wind. It is shown as that, and what is promised of gusts is said before a job starts
(``watcher.weather.gust_factor``).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.mean_ahead import foretold
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import highs, known_share, mean_of, means, plausible_wind
from watcher.weather.wind import LEAST_SHARE

_MINUTE_S, _TEN_MIN, _HALF_HOUR_MIN = 60, 10, 30
# Beyond, the fit was never tried.
_LEAST_ROOM, _MOST_ROOM = -3.0, 8.0


@dataclass(frozen=True)
class GustChance:
    """The chance of a gust over the bound; arrays of times [T], or [..., T] of bounds."""

    unknown: NDArray[np.bool_]
    chance: Floats  # 0 to 1


def gust_chance(series: WeatherSeries, *, bound_m_s: ArrayLike, step_s: int) -> GustChance:
    """Return the chance of a gust over ``bound_m_s`` within ten minutes.

    A logistic curve of the room up to the bound, in spreads of the gusts, from where the gusts of
    the coming ten minutes are expected and from the highest of the last ten and thirty minutes
    (fitted on the one-minute means of 58 real days, and unchanged about right on real gusts).
    ``bound_m_s`` is at the height of the sensor and broadcasts with the times; ``step_s`` is the
    time between readings. Unknown where less than three quarters of the last ten minutes is known.
    """
    wind, gust = plausible_wind(series.wind_m_s), plausible_wind(series.gust_m_s)
    width = max(step_s, _MINUTE_S)
    count = _HALF_HOUR_MIN * _MINUTE_S // width
    steps = means(times=series.times, values=wind, width_s=width, count=count)
    tops = highs(times=series.times, values=gust, width_s=width, count=count)
    seen = known_share(times=series.times, values=gust + wind, width_s=600, step_s=step_s)
    excess = mean_of(tops - steps)
    stray = np.sqrt(mean_of((tops - mean_of(tops)[:, None]) ** 2))
    # A tenth of a usual wind where the gusts were all alike by accident.
    spread = np.maximum(np.hypot(stray, 0.08 * mean_of(steps)), 1e-3)
    expected = foretold(series, step_s=step_s)[0][-1] + excess
    of_ten = tops[:, : max(_TEN_MIN * _MINUTE_S // width, 1)]
    bound = np.asarray(bound_m_s, dtype=np.float64)
    ahead, last_ten, last_thirty = (
        np.clip((bound - level) / spread, _LEAST_ROOM, _MOST_ROOM)
        for level in (expected, _highest(of_ten), _highest(tops))
    )
    score = 1.8 - 1.8 * ahead - 0.28 * last_ten - 0.07 * last_thirty
    chance = 1.0 / (1.0 + np.exp(-score - 0.115 * np.maximum(ahead, 0.0) ** 2))
    chance = np.where(np.isposinf(bound), 0.0, chance)
    chance = np.where(seen >= LEAST_SHARE, chance, np.nan)
    return GustChance(np.isnan(chance), chance)


def _highest(values: Floats) -> Floats:
    return np.where(
        np.isnan(values).all(axis=1), np.nan, np.nan_to_num(values, nan=-np.inf).max(axis=1)
    )
