"""The farm's own map in metres against a general library of map projections."""

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.farm.geometry.local_map import LocalMap

LATITUDES = st.floats(-89.9, 89.9)
LONGITUDES = st.floats(-180, 180)
METRES = st.floats(-100_000, 100_000)


def _by_library(latitude: float, longitude: float) -> pyproj.Transformer:
    local = f"+proj=aeqd +lat_0={latitude} +lon_0={longitude} +datum=WGS84 +units=m"
    return pyproj.Transformer.from_crs("EPSG:4326", pyproj.CRS.from_proj4(local), always_xy=True)


@given(LATITUDES, LONGITUDES, METRES, METRES)
def test_a_place_lies_where_the_library_says(
    latitude: float, longitude: float, east: float, north: float
) -> None:
    to_metres = _by_library(latitude, longitude)
    place = to_metres.transform(east, north, direction="INVERSE")
    found = LocalMap(latitude, longitude).metres(*map(np.float64, place))
    assert found == pytest.approx(to_metres.transform(*place), abs=0.001)


@given(LATITUDES, LONGITUDES, METRES, METRES)
def test_there_and_back_is_the_same_place(
    latitude: float, longitude: float, east: float, north: float
) -> None:
    local = LocalMap(latitude, longitude)
    place = local.degrees(np.float64(east), np.float64(north))
    assert -180 <= place[0] < 180
    assert local.metres(*place) == pytest.approx((east, north), abs=0.001)


def test_the_middle_is_nowhere_from_itself() -> None:
    local = LocalMap(45.0, 9.0)
    assert local.metres(np.float64(9.0), np.float64(45.0)) == (0.0, 0.0)
    assert local.degrees(np.float64(0.0), np.float64(0.0)) == pytest.approx((9.0, 45.0))


def test_the_other_side_of_the_earth_is_far() -> None:
    assert np.hypot(*LocalMap(45.0, 9.0).metres(np.float64(-171.0), np.float64(-45.0))) > 1e7


def test_many_places_at_once_are_the_same_as_one_by_one() -> None:
    local = LocalMap(-41.0, 174.0)
    east, north = np.array([0.0, 10.0, -500.0]), np.array([0.0, 0.0, 70.0])
    together = np.column_stack(local.degrees(east, north))
    one_by_one = [local.degrees(x, y) for x, y in zip(east, north, strict=True)]
    assert together == pytest.approx(np.array(one_by_one), abs=1e-12)
