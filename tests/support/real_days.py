"""Real one-minute weather from the reference material."""

from pathlib import Path

import numpy as np
import pandas as pd

from watcher.weather.series import Site, WeatherSeries


def alamosa(shared: Path) -> WeatherSeries:
    """Alamosa, Colorado, 2016-01-01: radiation, wind, air; wind and temperature at 10 m."""
    rows = np.loadtxt(shared / "data" / "surfrad-slv16001.dat", skiprows=2)
    rows[rows == -9999.9] = np.nan
    start = int(pd.Timestamp("2016-01-01", tz="UTC").timestamp())
    times = start + (rows[:, 4] * 3600 + rows[:, 5] * 60).astype(np.int64)
    assert np.unique(rows[:, 2:4], axis=0).tolist() == [[1.0, 1.0]]
    # Year, day of year, month, day, hour, minute, hour, zenith, then value and flag in turn.
    values = rows[:, 8::2]
    quantities = {
        "solar_w_m2": np.maximum(values[:, 0], 0),
        "net_w_m2": values[:, 14],
        "temp_c": values[:, 15],
        "humidity_pct": values[:, 16],
        "wind_m_s": values[:, 17],
        "wind_from_deg": values[:, 18],
        "pressure_pa": 100 * values[:, 19],
    }
    return WeatherSeries.of(times, Site(37.70, -105.92, 2317.0), "valley", quantities)
