"""The sun beside NREL's Solar Position Algorithm (0.0003 degree) as pvlib has it."""

import numpy as np
import pandas as pd
import pytest
from pvlib.clearsky import haurwitz
from pvlib.solarposition import spa_python

from watcher.weather.sun import azimuth, clear_sky_w_m2, elevation

# Every 7 h 13 min of 2026 meets all hours in all seasons.
TIMES = pd.Timestamp("2026-01-01", tz="UTC").timestamp() + np.arange(0, 365 * 86_400, 25_980)
STAMPS = pd.to_datetime(TIMES, unit="s", utc=True)
PLACES = [(-70.0, 179.0), (-33.9, 151.2), (0.0, 0.0), (21.3, -157.9), (48.2, 16.4), (70.0, -100.0)]


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_elevation_and_azimuth_over_a_year(latitude: float, longitude: float) -> None:
    spa = spa_python(STAMPS, latitude, longitude)
    where = {"times": TIMES, "latitude": latitude, "longitude": longitude}
    high = elevation(**where)
    assert np.abs(high - spa["elevation"].to_numpy()).max() < 0.02
    # Degrees of bearing shrink towards the zenith; this is the angle on the sky.
    turn = (azimuth(**where) - spa["azimuth"].to_numpy() + 180.0) % 360.0 - 180.0
    assert np.abs(turn * np.cos(np.radians(high))).max() < 0.02


@pytest.mark.parametrize("year", [1970, 2000, 2050, 2099])
def test_other_decades_keep_within_a_twentieth_of_a_degree(year: int) -> None:
    """Here delta-T is not what we take it for: 40 s in 1970, perhaps 93 s in 2050."""
    stamps = pd.date_range(f"{year}-01-01", f"{year}-12-31", freq="61h", tz="UTC")
    times = (stamps - pd.Timestamp(0, tz="UTC")).total_seconds().to_numpy()
    spa = spa_python(stamps, 45.0, 7.0)["elevation"].to_numpy()
    assert np.abs(elevation(times=times, latitude=45.0, longitude=7.0) - spa).max() < 0.05


def test_clear_sky_radiation_is_haurwitzs() -> None:
    heights = np.linspace(-5, 90, 96)
    theirs = haurwitz(pd.Series(90.0 - heights))["ghi"].to_numpy()
    assert clear_sky_w_m2(elevation_deg=heights) == pytest.approx(theirs, abs=1e-6)
