"""What a running job must know of the wind: bound crossed, and the chance that it will be.

Everything here looks back from every time of a series, so a whole day is judged in one call exactly
as it would have been minute by minute. Bounds are at the height of the wind sensor and broadcast
with the times: a number, one a time [T], or one a field and setup [..., 1].
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.fronts import Front, gust_front
from watcher.weather.gust_chance import GustChance, gust_chance
from watcher.weather.mean_ahead import BEGINS_FROM, MeanAhead, mean_ahead
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import highs, known_share, means, plausible_wind
from watcher.weather.wind import LEAST_SHARE

Bools = NDArray[np.bool_]

_SPAN_S = 600


@dataclass(frozen=True)
class Crossing:
    """Whether a bound is crossed; arrays of times [T], or [..., T] of bounds."""

    warns: Bools
    unknown: Bools
    wind_over: Bools
    gust_over: Bools
    mean_m_s: Floats  # of the last ten minutes, [T]
    highest_gust_m_s: Floats  # of the last ten minutes, [T]


@dataclass(frozen=True)
class Nowcast:
    """All there is to tell of the wind at every time of a series.

    Signs of a front explain a warning and raise none: alone they are false five times in six. Nor
    does the chance of a gust, which foretells little.
    """

    crossing: Crossing
    mean_ahead: MeanAhead
    front: Front
    gust_chance: GustChance

    @property
    def warns(self) -> Bools:
        """Where there is anything to say."""
        return self.crossing.warns | self.mean_ahead.warns

    @property
    def unknown(self) -> Bools:
        """Where nothing is said, but not all could be judged: silence is not 'all well' here."""
        return (self.crossing.unknown | self.mean_ahead.unknown) & ~self.warns


def nowcast(
    series: WeatherSeries,
    *,
    wind_bound_m_s: ArrayLike,
    gust_bound_m_s: ArrayLike,
    step_s: int,
    begins_from: float = BEGINS_FROM,
    spread_scale: float = 1.0,
) -> Nowcast:
    """Judge the wind of a series with readings every ``step_s`` (10 s to 5 min) at each time.

    A bound of inf asks for nothing; a NaN bound leaves what hangs on it unknown. ``begins_from`` is
    the chance a warning begins at, ``spread_scale`` how far this station's wind strays against the
    usual.
    """
    return Nowcast(
        crossing(
            series, wind_bound_m_s=wind_bound_m_s, gust_bound_m_s=gust_bound_m_s, step_s=step_s
        ),
        mean_ahead(
            series,
            bound_m_s=wind_bound_m_s,
            step_s=step_s,
            begins_from=begins_from,
            spread_scale=spread_scale,
        ),
        gust_front(series, step_s=step_s),
        gust_chance(series, bound_m_s=gust_bound_m_s, step_s=step_s),
    )


def crossing(
    series: WeatherSeries, *, wind_bound_m_s: ArrayLike, gust_bound_m_s: ArrayLike, step_s: int
) -> Crossing:
    """Tell where the 10-minute mean wind, or a gust within the last ten minutes, is over its bound.

    The reading that crosses is the one that tells. Unknown where nothing crosses and a bounded
    quantity cannot be seen: the newest reading is missing, or less than three quarters of the ten
    minutes is known. A mean counts as the least the gust can have been, but cannot stand for it.
    """
    wind, gust = plausible_wind(series.wind_m_s), plausible_wind(series.gust_m_s)
    mean, wind_seen = _ten_minutes(series, wind, step_s)
    _, gust_seen = _ten_minutes(series, gust, step_s)
    highest = highs(times=series.times, values=np.fmax(gust, wind), width_s=_SPAN_S)[:, 0]
    wind_over, wind_unknown = _over(mean, wind_seen, wind_bound_m_s)
    gust_over, gust_unknown = _over(highest, gust_seen, gust_bound_m_s)
    warns = wind_over | gust_over
    unknown = ~warns & (wind_unknown | gust_unknown)
    return Crossing(warns, unknown, wind_over, gust_over, mean, highest)


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
