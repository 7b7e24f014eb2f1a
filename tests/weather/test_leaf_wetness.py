"""A leaf is wet by its sensor, or by rain and the dew to be expected; without a word unknown."""

from typing import Any

import numpy as np
import pytest

from watcher.weather.leaf_wetness import leaf_wet
from watcher.weather.series import Site, WeatherSeries

NAN = float("nan")
DRY_AIR = {"temp_c": 20.0, "humidity_pct": 55.0, "dew_point_c": 10.7, "rain_mm_h": 0.0}
WET, DRY, UNKNOWN = (True, False), (False, False), (False, True)


def stands(measured: bool = False, **values: Any) -> tuple[bool, bool]:
    series = WeatherSeries.of(
        [0], Site(41.0, -96.0), "test", {name: [v] for name, v in (DRY_AIR | values).items()}
    )
    wet, unknown = leaf_wet(series, rain_from_mm_h=0.1, measured=measured)
    return bool(wet[0]), bool(unknown[0])


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, DRY),
        ({"humidity_pct": 89.9}, DRY),
        ({"humidity_pct": 90.0}, WET),
        ({"dew_point_c": 17.9}, DRY),
        ({"dew_point_c": 18.0}, WET),
        # One of the two is enough to tell, and the wetter one stands.
        ({"humidity_pct": NAN}, DRY),
        ({"dew_point_c": NAN}, DRY),
        ({"humidity_pct": NAN, "dew_point_c": 19.0}, WET),
        ({"temp_c": NAN}, DRY),
        ({"humidity_pct": NAN, "dew_point_c": NAN}, UNKNOWN),
        ({"humidity_pct": NAN, "temp_c": NAN}, UNKNOWN),
        ({"rain_mm_h": 0.1}, WET),
        ({"rain_mm_h": 0.09}, DRY),
        ({"rain_mm_h": 0.1, "humidity_pct": NAN, "dew_point_c": NAN}, WET),
        ({"rain_mm_h": NAN}, UNKNOWN),
        ({"rain_mm_h": NAN, "humidity_pct": 95.0}, WET),
    ],
)
def test_without_a_sensor_by_rain_and_dew(
    values: dict[str, float], expected: tuple[bool, bool]
) -> None:
    assert stands(**values) == expected


@pytest.mark.parametrize(
    ("shows", "expected"), [(0.0, DRY), (20.0, DRY), (20.1, WET), (100.0, WET)]
)
def test_a_sensor_stands_whatever_the_air_is_like(
    shows: float, expected: tuple[bool, bool]
) -> None:
    for air in ({}, {"humidity_pct": 95.0, "rain_mm_h": 5.0}, {"rain_mm_h": NAN}):
        assert stands(leaf_wet_pct=shows, **air) == expected


def test_nothing_stands_in_for_a_sensor_that_fails() -> None:
    assert stands(measured=True) == UNKNOWN
    assert stands(measured=True, humidity_pct=95.0) == UNKNOWN
    assert stands(measured=True, leaf_wet_pct=3.0) == DRY


def test_where_it_should_be_said_may_be_some_hours_only() -> None:
    values = {name: np.full(3, value) for name, value in DRY_AIR.items()}
    series = WeatherSeries.of([0, 1, 2], Site(41.0, -96.0), "test", values)
    _, unknown = leaf_wet(series, rain_from_mm_h=0.1, measured=[True, True, False])
    assert unknown.tolist() == [True, True, False]


def test_rain_told_for_several_hours_leaves_a_leaf_unknown_where_all_of_it_would_wet_it() -> None:
    values = {name: [value, value] for name, value in (DRY_AIR | {"rain_mm_h": 0.03}).items()}
    sides = (np.array([0.0, 0.0]), np.array([0.18, 0.09]))
    series = WeatherSeries.of([0, 3600], Site(41.0, -96.0), "test", values, {"rain_mm_h": sides})
    wet, unknown = leaf_wet(series, rain_from_mm_h=0.1)
    assert wet.tolist() == [False, False]
    assert unknown.tolist() == [True, False]
