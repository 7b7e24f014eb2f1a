"""Past hours as they were measured: by the first station listed that measured the quantity."""

from collections.abc import Collection, Mapping

import numpy as np

from watcher.weather.series import QUANTITIES, Bound, Floats, Seconds, Site, WeatherSeries
from watcher.weather.wind_profile import Surface, gust_at_height, wind_factor


def put_hours(
    values: Mapping[str, Floats],
    times: Seconds,
    hours: WeatherSeries,
    measures: Collection[str],
    bounds: dict[str, Bound] | None = None,
) -> None:
    """Put what a station measured into the values at ``times`` [T]; the last one put stands.

    ``hours`` are its own means by hour, at times that are all among ``times``. ``bounds`` are those
    of the values, and get the station's in place of what they had.
    """
    at = np.searchsorted(times, hours.times)
    for name in QUANTITIES:
        if name in measures:
            measured = getattr(hours, name)
            least, most = hours.bound(name)
            known = np.isfinite(measured) | np.isfinite(least) | np.isfinite(most)
            if name == "gust_m_s" and "wind_m_s" in measures:  # the same anemometer's
                known &= np.isfinite(hours.wind_m_s)
            values[name][at[known]] = measured[known]
            if bounds is not None and (name in bounds or name in hours.bounds):
                none = np.full(times.shape, np.nan)
                sides = bounds.setdefault(name, (none, none.copy()))
                sides[0][at[known]], sides[1][at[known]] = least[known], most[known]
    if "temp_c" in measures:  # two thermometers tell of an inversion only over one place
        known = np.isfinite(hours.temp_c)
        own = hours.temp_upper_c if "temp_upper_c" in measures else np.full(known.shape, np.nan)
        values["temp_upper_c"][at[known]] = own[known]


def winds_at(series: WeatherSeries, site: Site) -> WeatherSeries:
    """Return the series with its winds as they are at another site's sensor.

    Where several sources speak for one place, their winds must be of one height and surface.
    """
    own = series.site
    if (own.wind_height_m, own.canopy_m) == (site.wind_height_m, site.canopy_m):
        return series
    share = wind_factor(
        from_m=own.wind_height_m,
        to_m=site.wind_height_m,
        of=Surface.of_canopy(own.canopy_m),
        over=Surface.of_canopy(site.canopy_m),
    )
    wind, bounds = series.wind_m_s * share, dict(series.bounds)
    if "wind_m_s" in bounds:
        least, most = bounds["wind_m_s"]
        bounds["wind_m_s"] = (least * share, most * share)
    if "gust_m_s" in bounds:
        least, most = (
            gust_at_height(wind_m_s=series.wind_m_s, gust_m_s=side, there_m_s=wind)
            for side in bounds["gust_m_s"]
        )
        bounds["gust_m_s"] = (least, most)
    return series.bounded(bounds).having(
        wind_m_s=wind,
        gust_m_s=gust_at_height(wind_m_s=series.wind_m_s, gust_m_s=series.gust_m_s, there_m_s=wind),
    )
