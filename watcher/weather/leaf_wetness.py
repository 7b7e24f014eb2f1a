"""Whether a leaf is wet: as a sensor on it says, or else as dew and rain make one expect.

Dew is expected where the air is nearly saturated: at 90 % relative humidity or over (Sentelhas et
al. 2008, Agricultural and Forest Meteorology 148, 392-400: the threshold that did best without
being fitted to a place), or no more than 2 K over its dew point (after Gillespie, Srivastava &
Pitblado 1993, who let wetness begin at 1.8 K and end at 2.2 K). All from memory. At night a leaf
radiates itself colder than the air at the thermometer, which these margins stand for.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.raining import raining
from watcher.weather.series import WeatherSeries

Bools = NDArray[np.bool_]

WET_FROM_PCT = 20.0
"""A sensor that shows more than this is wet. Common practice, no source: grids read some per cent
when dry and dirty; makers put the threshold between a tenth and a half."""
DEW_FROM_HUMIDITY_PCT = 90.0
DEW_WITHIN_K = 2.0


def leaf_wet(
    series: WeatherSeries, *, rain_from_mm_h: float, measured: ArrayLike = False
) -> tuple[Bools, Bools]:
    """Return where a leaf is wet, and where nobody can tell. [T] both

    Where a sensor says how wet it is, that stands. ``measured`` is where one should say it: there
    nothing stands in for a value that is missing. Elsewhere rain of ``rain_from_mm_h`` wets it, and
    dew; it is dry where the rain is known and humidity or dew point speak against dew.
    """
    sensor = series.leaf_wet_pct
    rain, rain_unknown = raining(series, from_mm_h=rain_from_mm_h)
    over_dew_point = series.temp_c - series.dew_point_c
    dew = (series.humidity_pct >= DEW_FROM_HUMIDITY_PCT) | (over_dew_point <= DEW_WITHIN_K)
    no_word = np.isnan(series.humidity_pct) & np.isnan(over_dew_point)
    expected = rain | dew
    undecided = ~expected & (no_word | rain_unknown)

    says = ~np.isnan(sensor)
    missing = np.asarray(measured, dtype=np.bool_) & ~says
    wet = np.where(says, sensor > WET_FROM_PCT, expected) & ~missing
    unknown = np.where(says, False, undecided) | missing
    return wet, unknown
