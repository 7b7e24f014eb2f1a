"""Past hours as they were measured: by the first station told that measured a quantity in them."""

from collections.abc import Collection, Mapping

import numpy as np

from watcher.weather.series import QUANTITIES, Floats, Seconds, WeatherSeries
from watcher.weather.wind import gust_at_height, wind_at_height


def put_hours(
    values: Mapping[str, Floats], times: Seconds, hours: WeatherSeries, measures: Collection[str]
) -> None:
    """Put what a station measured into the values at ``times`` [T]; the last one put stands.

    ``hours`` are its own means by hour, at times that are all among ``times``.
    """
    at = np.searchsorted(times, hours.times)
    for name in QUANTITIES:
        if name in measures:
            measured = getattr(hours, name)
            known = np.isfinite(measured)
            if name == "gust_m_s" and "wind_m_s" in measures:  # the same anemometer's
                known &= np.isfinite(hours.wind_m_s)
            values[name][at[known]] = measured[known]
    if "temp_c" in measures:  # two thermometers tell of an inversion only over one place
        known = np.isfinite(hours.temp_c)
        own = hours.temp_upper_c if "temp_upper_c" in measures else np.full(known.shape, np.nan)
        values["temp_upper_c"][at[known]] = own[known]


def at_wind_height(series: WeatherSeries, height_m: float) -> WeatherSeries:
    """Return the series with its winds as they are at another height, over short grass.

    Where several sources speak for one place, their winds must be of one height.
    """
    own = series.site.wind_height_m
    if own == height_m:
        return series
    heights = {"from_m": own, "to_m": height_m}
    return series.having(
        wind_m_s=wind_at_height(wind_m_s=series.wind_m_s, **heights),
        gust_m_s=gust_at_height(wind_m_s=series.wind_m_s, gust_m_s=series.gust_m_s, **heights),
    )
