"""Screening for a standing sensor: EPA-454/R-99-005, table 8-4 (seen through a training guide)."""

import numpy as np
import pytest

from watcher.sources.base import Flag, Observations
from watcher.sources.quality.check import check
from watcher.weather.series import Site, WeatherSeries

SITE = Site(latitude=41.2, longitude=-96.6)
FIVE_MINUTES = 300


def last_flag(name: str, hours: float, low: float, high: float, **more: float) -> int:
    """Flag of the last value when ``name`` has swung between two values for so many hours."""
    count = int(hours * 3600 / FIVE_MINUTES) + 1
    values = {name: np.where(np.arange(count) % 2, high, low)}
    values |= {other: np.full(count, value) for other, value in more.items()}
    times = np.arange(count) * FIVE_MINUTES
    found = check(Observations(WeatherSeries.of(times, SITE, "mast", values))).flags
    return int(found[name][-1]) if name in found else 0


@pytest.mark.parametrize(
    ("name", "hours", "still", "moving", "more"),
    [
        ("wind_m_s", 3, (3.00, 3.05), (3.0, 3.2), {}),
        ("wind_m_s", 3, (3.0, 3.1), (3.0, 3.11), {}),
        ("wind_m_s", 12, (3.0, 3.5), (3.0, 3.6), {}),
        ("wind_from_deg", 3, (200.0, 201.0), (200.0, 201.5), {"wind_m_s": np.nan}),
        ("wind_from_deg", 3, (359.5, 0.5), (359.0, 1.0), {"wind_m_s": np.nan}),
        ("wind_from_deg", 18, (200.0, 210.0), (200.0, 211.0), {"wind_m_s": np.nan}),
        ("temp_c", 12, (15.0, 15.5), (15.0, 15.6), {}),
    ],
)
def test_a_sensor_that_does_not_change_is_flagged(name, hours, still, moving, more) -> None:
    assert last_flag(name, hours, *still, **more) == Flag.STUCK
    assert last_flag(name, hours, *moving, **more) == Flag.GOOD
    assert last_flag(name, hours * 0.8, *still, **more) == Flag.GOOD
