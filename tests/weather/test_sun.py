"""The sun relative to an instant: which sunrise, which sunset, and where there is none."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.weather.sun import (
    SET_ELEVATION_DEG,
    azimuth,
    clear_sky_w_m2,
    day_length,
    elevation,
    hours_since_sunrise,
    hours_to_sunset,
    next_sunrise,
    next_sunset,
    previous_sunrise,
    previous_sunset,
    solar_noon,
)

DAY = 86_400
JUNE, DECEMBER = 1_782_000_000, 1_797_800_000  # 2026-06-21 00:00 and 2026-12-20 20:53 UTC

instants = st.integers(1_700_000_000, 1_900_000_000)
latitudes = st.floats(-60, 60)
longitudes = st.floats(-180, 180)


@given(instants, latitudes, longitudes)
def test_the_events_around_an_instant_come_in_their_order(t: int, lat: float, lon: float) -> None:
    where = {"times": t, "latitude": lat, "longitude": lon}
    assert previous_sunrise(**where) <= t < next_sunrise(**where)
    assert previous_sunset(**where) <= t < next_sunset(**where)
    up = elevation(**where)
    if abs(up - SET_ELEVATION_DEG) > 0.05:
        in_daylight = previous_sunrise(**where) > previous_sunset(**where)
        assert in_daylight == (up > SET_ELEVATION_DEG)
        assert in_daylight == (next_sunset(**where) < next_sunrise(**where))


@given(instants, latitudes, longitudes)
def test_at_rise_and_set_the_sun_stands_on_the_horizon(t: int, lat: float, lon: float) -> None:
    for event in (previous_sunrise, next_sunrise, previous_sunset, next_sunset):
        moment = event(times=t, latitude=lat, longitude=lon)
        height = elevation(times=moment, latitude=lat, longitude=lon)
        assert height == pytest.approx(SET_ELEVATION_DEG, abs=0.01)


@given(instants, latitudes, longitudes)
def test_the_next_sunrise_is_the_previous_one_a_moment_later(
    t: int, lat: float, lon: float
) -> None:
    rise = next_sunrise(times=t, latitude=lat, longitude=lon)
    again = previous_sunrise(times=rise + 60, latitude=lat, longitude=lon)
    assert again == pytest.approx(float(rise), abs=1.0)


@given(instants, latitudes, longitudes)
def test_a_sunrise_is_about_a_day_after_the_last(t: int, lat: float, lon: float) -> None:
    where = {"times": t, "latitude": lat, "longitude": lon}
    between = next_sunrise(**where) - previous_sunrise(**where)
    assert between == pytest.approx(DAY, abs=400)


@given(instants, latitudes, longitudes)
def test_hours_count_from_the_last_sunrise_to_the_next_sunset(
    t: int, lat: float, lon: float
) -> None:
    where = {"times": t, "latitude": lat, "longitude": lon}
    since, to = hours_since_sunrise(**where), hours_to_sunset(**where)
    assert 0 <= since <= 25
    assert 0 < to <= 25
    if elevation(**where) > 0:
        assert since + to == pytest.approx(day_length(**where), abs=0.25)


@pytest.mark.parametrize("longitude", [179.9, 150.0, 75.0, 0.0, -75.0, -157.9, -179.9])
def test_local_mid_morning_is_hours_after_sunrise_in_every_zone(longitude: float) -> None:
    """At the equator the sun rises at about six: at ten, local mean time, it is four hours up."""
    ten = JUNE + 10 * 3600 - longitude * 240
    since = hours_since_sunrise(times=ten, latitude=0.0, longitude=longitude)
    to = hours_to_sunset(times=ten, latitude=0.0, longitude=longitude)
    assert since == pytest.approx(4.0, abs=0.4)
    assert to == pytest.approx(8.0, abs=0.4)


def test_one_place_and_many_places_agree() -> None:
    times = JUNE + 3600 * np.arange(72)
    lats, lons = np.array([[-35.0], [10.0], [55.0]]), np.array([[150.0], [-60.0], [0.0]])
    grid = next_sunset(times=times, latitude=lats, longitude=lons)
    assert grid.shape == (3, 72)
    for i in range(3):
        alone = next_sunset(times=times, latitude=float(lats[i, 0]), longitude=float(lons[i, 0]))
        assert grid[i] == pytest.approx(alone, abs=1e-3)


def test_polar_day_and_night_have_no_events_and_say_which_they_are() -> None:
    june = {"times": JUNE, "latitude": [78.0, -78.0], "longitude": 15.0}
    for event in (previous_sunrise, next_sunrise, previous_sunset, next_sunset, hours_to_sunset):
        assert np.isnan(event(**june)).all()
    assert day_length(**june).tolist() == [24.0, 0.0]
    assert day_length(times=DECEMBER, latitude=78.0, longitude=15.0) == 0.0


def test_the_first_weeks_of_polar_day_look_back_no_further_than_a_day() -> None:
    """Days pass from the last sunset to the next; the one of weeks ago is nobody's."""
    days = JUNE - 60 * DAY + 3600 * np.arange(24 * 40)
    since = hours_since_sunrise(times=days, latitude=69.6, longitude=19.0)
    assert np.nanmax(since) <= 25.0
    assert np.isnan(since[-24:]).all()


@pytest.mark.parametrize("latitude", [-40.0, 50.0])
def test_at_solar_noon_the_sun_stands_towards_the_equator(latitude: float) -> None:
    noon = solar_noon(times=JUNE, longitude=-96.0)
    bearing = azimuth(times=noon, latitude=latitude, longitude=-96.0)
    expected = 180.0 if latitude > 0 else 0.0
    assert abs((bearing - expected + 180) % 360 - 180) < 0.1


def test_a_place_off_the_globe_has_no_sun() -> None:
    assert np.isnan(elevation(times=JUNE, latitude=91.0, longitude=0.0))
    assert np.isnan(next_sunset(times=JUNE, latitude=0.0, longitude=361.0))


def test_a_clear_sky_gives_nothing_at_night_and_about_a_kilowatt_overhead() -> None:
    night, low, overhead = clear_sky_w_m2(elevation_deg=[-1.0, 5.0, 90.0])
    assert night == 0.0
    assert 0 < low < 100
    assert 950 < overhead < 1100
