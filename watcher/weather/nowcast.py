"""What a running job must be told of the wind: bound crossed, trend, gust front, chance of a gust.

Everything here looks back from every time of a series, so a whole day is judged in one call exactly
as it would have been minute by minute. Bounds are at the height of the wind sensor and broadcast
with the times: a number, one a time [T], or one a field and setup [..., 1].
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.fronts import Front, gust_front
from watcher.weather.gust_chance import GustChance, gust_chance
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import highs, known_share, means, plausible_wind
from watcher.weather.trend import Trend, rising
from watcher.weather.wind import LEAST_SHARE

Bools = NDArray[np.bool_]

_SPAN_S = 600


@dataclass(frozen=True)
class Crossing:
    """Whether a bound is crossed; arrays of times [T], or [..., T] of bounds."""

    told: Bools
    unknown: Bools
    wind_over: Bools
    gust_over: Bools
    mean_m_s: Floats  # of the last ten minutes, [T]
    highest_gust_m_s: Floats  # of the last ten minutes, [T]


@dataclass(frozen=True)
class Nowcast:
    """All there is to tell of the wind at every time of a series."""

    crossing: Crossing
    trend: Trend
    front: Front
    gust_chance: GustChance

    @property
    def told(self) -> Bools:
        """Where anything is told."""
        return self.crossing.told | self.trend.told | self.front.told | self.gust_chance.told

    @property
    def unknown(self) -> Bools:
        """Where nothing is told, but not all could be judged: silence is not 'all well' here."""
        blind = self.crossing.unknown | self.trend.unknown | self.front.unknown
        return (blind | self.gust_chance.unknown) & ~self.told


def nowcast(
    series: WeatherSeries, *, wind_bound_m_s: ArrayLike, gust_bound_m_s: ArrayLike, step_s: int
) -> Nowcast:
    """Judge the wind of a series with readings every ``step_s`` (10 s to 5 min) at each time.

    A bound of inf asks for nothing; a NaN bound leaves what hangs on it unknown.
    """
    return Nowcast(
        crossing(
            series, wind_bound_m_s=wind_bound_m_s, gust_bound_m_s=gust_bound_m_s, step_s=step_s
        ),
        rising(series, bound_m_s=wind_bound_m_s, step_s=step_s),
        gust_front(series, step_s=step_s),
        gust_chance(series, bound_m_s=gust_bound_m_s, step_s=step_s),
    )


def crossing(
    series: WeatherSeries, *, wind_bound_m_s: ArrayLike, gust_bound_m_s: ArrayLike, step_s: int
) -> Crossing:
    """Tell where the 10-minute mean wind, or a gust within the last ten minutes, is over its bound.

    The reading that crosses is the one that tells. Unknown where nothing is told and a bounded
    quantity cannot be seen: the newest reading is missing, or less than three quarters of the ten
    minutes is known. A mean counts as the least the gust can have been, but cannot stand for it.
    """
    wind, gust = plausible_wind(series.wind_m_s), plausible_wind(series.gust_m_s)
    mean, wind_seen = _ten_minutes(series, wind, step_s)
    _, gust_seen = _ten_minutes(series, gust, step_s)
    highest = highs(times=series.times, values=np.fmax(gust, wind), width_s=_SPAN_S)[:, 0]
    wind_over, wind_unknown = _over(mean, wind_seen, wind_bound_m_s)
    gust_over, gust_unknown = _over(highest, gust_seen, gust_bound_m_s)
    told = wind_over | gust_over
    unknown = ~told & (wind_unknown | gust_unknown)
    return Crossing(told, unknown, wind_over, gust_over, mean, highest)


def _ten_minutes(series: WeatherSeries, values: Floats, step_s: int) -> tuple[Floats, Bools]:
    """Return the 10-minute mean, NaN where too little is known, and where the present is seen."""
    share = known_share(times=series.times, values=values, width_s=_SPAN_S, step_s=step_s)
    enough = share >= LEAST_SHARE
    mean = means(times=series.times, values=values, width_s=_SPAN_S)[:, 0]
    return np.where(enough, mean, np.nan), enough & np.isfinite(values)


def _over(value: Floats, seen: Bools, bound_m_s: ArrayLike) -> tuple[Bools, Bools]:
    bound = np.asarray(bound_m_s, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        return value > bound, ~seen & ~np.isposinf(bound) | np.isnan(bound)
