"""When it rains so much that it counts, and when nobody knows whether it does."""

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import WeatherSeries

Bools = NDArray[np.bool_]


def raining(series: WeatherSeries, *, from_mm_h: float) -> tuple[Bools, Bools]:
    """Return where rain of ``from_mm_h`` or more falls, and where nobody can tell. [T] both

    Of rain given for several hours at once only the mean rate is known, and that all of it may fall
    in any one of them: where the mean counts it rains, where only all of it would nobody knows.
    """
    most = series.bound("rain_mm_h")[1]
    rain = series.rain_mm_h >= from_mm_h
    unknown = ~rain & np.where(np.isnan(most), np.isnan(series.rain_mm_h), most >= from_mm_h)
    return rain, unknown
