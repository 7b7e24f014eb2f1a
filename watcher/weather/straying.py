"""How far a station's wind strays from what is foretold, against the usual, by its own log."""

import numpy as np
from numpy.typing import NDArray

from watcher.weather.mean_ahead import foretold
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.sun import elevation
from watcher.weather.trailing import known_share, means, plausible_wind
from watcher.weather.wind import LEAST_SHARE

LEAST_WIND_M_S = 1.3
"""Nobody sprays, and no bound lies, in less wind. [m/s]"""
_LOW_SUN_DEG = 5.0
_MEAN_S = 600
_MINUTES_AHEAD = (5, 10)
# Ten places strayed 0.9 to 1.4 times as far as usual; beyond, something else is wrong.
_LEAST, _MOST = 0.7, 1.5
# So many days of the usual straying are credited, so that one odd day decides nothing.
_DAYS_CREDITED = 5.0
_DAY_S = 10 * 3600
"""Windy daylight that counts as a day. [s]"""


def learn_spread_scale(series: WeatherSeries, *, step_s: int) -> float:
    """Return by how much the wind of a station strays more than usual, 0.7 to 1.5; 1 for no log.

    ``series`` are its readings of the last days, every ``step_s``; only daylight with wind counts.
    """
    wind = plausible_wind(series.wind_m_s)
    mean = means(times=series.times, values=wind, width_s=_MEAN_S)[:, 0]
    share = known_share(times=series.times, values=wind, width_s=_MEAN_S, step_s=step_s)
    mean = np.where(share >= LEAST_SHARE, mean, np.nan)
    counts = windy_daylight(series, mean)
    expected, spread = foretold(series, step_s=step_s)
    squares = np.concatenate(
        [
            ((_later(series, mean, 60 * h) - expected[h - 1]) / spread[h - 1])[counts] ** 2
            for h in _MINUTES_AHEAD
        ]
    )
    squares = squares[np.isfinite(squares)]
    days = squares.size / len(_MINUTES_AHEAD) * step_s / _DAY_S
    strayed = float(squares.mean()) if squares.size else 1.0
    scale = np.sqrt((_DAYS_CREDITED + days * strayed) / (_DAYS_CREDITED + days))
    return float(np.clip(scale, _LEAST, _MOST))


def windy_daylight(series: WeatherSeries, mean_m_s: Floats) -> NDArray[np.bool_]:
    """Return where somebody might spray: the sun up and a mean wind that is worth warning of."""
    site = series.site
    sun = elevation(times=series.times, latitude=site.latitude, longitude=site.longitude)
    with np.errstate(invalid="ignore"):
        return (sun > _LOW_SUN_DEG) & (mean_m_s >= LEAST_WIND_M_S)


def _later(series: WeatherSeries, values: Floats, ahead_s: int) -> Floats:
    """Return the value of the last reading up to ``ahead_s`` later; NaN where it is long before."""
    wanted = series.times + ahead_s
    at = np.searchsorted(series.times, wanted, side="right") - 1
    return np.where(wanted - series.times[at] < 60, values[at], np.nan)
