"""How many times the mean wind the highest gust of ten minutes usually is, by a station's log."""

import numpy as np

from watcher.weather.series import WeatherSeries
from watcher.weather.straying import windy_daylight

_FEWEST = 36
"""Six hours of windy daylight: less tells little of a place."""


def usual_gust_factor(ten_minutes: WeatherSeries) -> float:
    """Return the median of gust over mean, 1 or more; NaN where the log tells too little.

    ``ten_minutes`` holds means and highest gusts of ten minutes each. Only windy daylight counts.
    """
    counts = windy_daylight(ten_minutes, ten_minutes.wind_m_s) & np.isfinite(ten_minutes.gust_m_s)
    if counts.sum() < _FEWEST:
        return float("nan")
    factors = ten_minutes.gust_m_s[counts] / ten_minutes.wind_m_s[counts]
    return max(float(np.median(factors)), 1.0)
