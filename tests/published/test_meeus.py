"""The sun in Meeus's worked example 25.a: 1992 October 13, 0 h of terrestrial time.

J. Meeus, Astronomical Algorithms, 2nd ed. (values from memory): apparent declination -7.78507 and
right ascension 198.38083 degrees. As accurate as the printed digits, so that a wrong constant of
the sun's place shows where a comparison within hundredths of a degree lets it pass.
"""

from datetime import UTC, datetime

import numpy as np
import pytest

from watcher.weather.sun import SET_ELEVATION_DEG, azimuth, elevation, next_sunset

TERRESTRIAL = 69.0  # seconds ahead of universal time, as the module takes it
WHEN = datetime(1992, 10, 13, tzinfo=UTC).timestamp() - TERRESTRIAL
POLE = {"times": WHEN, "latitude": 90.0, "longitude": 0.0}


def test_at_the_pole_the_sun_stands_as_high_as_its_declination() -> None:
    assert elevation(**POLE) == pytest.approx(-7.78507, abs=1e-5)


def test_the_bearing_at_the_pole_is_the_hour_angle_of_the_right_ascension() -> None:
    """Sidereal time by his equation 12.4, apparent by the nutation of the example: node
    264.65 degrees, -0.00478 sin(node) cos(obliquity) = 0.004367 degrees."""
    days = (WHEN - datetime(2000, 1, 1, 12, tzinfo=UTC).timestamp()) / 86_400
    sidereal = 280.46061837 + 360.98564736629 * days + 0.004367
    hour_angle = (azimuth(**POLE) - 180.0) % 360.0
    assert (sidereal - hour_angle) % 360.0 == pytest.approx(198.38083, abs=2e-5)


def test_rise_and_set_are_of_the_upper_limb_with_standard_refraction() -> None:
    """34 minutes of refraction and 16 of radius: 50 arc minutes."""
    assert pytest.approx(-50 / 60, abs=5e-4) == SET_ELEVATION_DEG


def test_longitudes_go_once_round_and_latitudes_to_the_poles() -> None:
    assert np.isfinite(elevation(times=WHEN, latitude=-90.0, longitude=360.0))
    assert np.isnan(elevation(times=WHEN, latitude=90.1, longitude=0.0))
    assert np.isnan(elevation(times=WHEN, latitude=0.0, longitude=-360.1))
    assert np.isfinite(next_sunset(times=WHEN, latitude=0.0, longitude=-360.0))
