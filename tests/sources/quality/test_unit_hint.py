"""Values that look as if they were sent in another unit."""

import numpy as np
import pytest

from watcher.sources.quality.unit_hint import LEAST_VALUES, suspected
from watcher.weather.series import Site, WeatherSeries

EXPECTED = {"temp_c": 20.0, "dew_point_c": 12.0}


def units(name: str, *values: float, expected: dict[str, float] | None = None) -> dict[str, str]:
    times = 60 * np.arange(len(values))
    series = WeatherSeries.of(times, Site(41.0, -96.0), "mast", {name: values})
    found = suspected(series, EXPECTED if expected is None else expected)
    return {quantity: str(unit) for quantity, unit in found.items()}


def celsius_as_fahrenheit(celsius: float) -> float:
    return (celsius - 32.0) / 1.8


@pytest.mark.parametrize(
    ("name", "value", "unit"),
    [
        ("temp_c", celsius_as_fahrenheit(21.0), "°C sent as °F"),
        ("temp_c", 68.0, "°F sent as °C"),
        ("temp_c", 293.0, "K sent as °C"),
        ("temp_upper_c", 68.0, "°F sent as °C"),
        ("dew_point_c", 54.0, "°F sent as °C"),
        ("humidity_pct", 0.55, "a fraction from 0 to 1, not %"),
        ("cloud_pct", 0.3, "a fraction from 0 to 1, not %"),
        ("pressure_pa", 970.0, "hPa, not Pa"),
        ("pressure_pa", 97.0, "kPa, not Pa"),
        ("pressure_pa", 29.0, "inHg, not Pa"),
        ("pressure_pa", 730.0, "hPa, not Pa"),
    ],
)
def test_another_unit_is_named(name: str, value: float, unit: str) -> None:
    assert units(name, *[value] * 5) == {name: unit}


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("temp_c", [20.0, 24.0, 12.5]),
        ("temp_c", [32.0, 33.0, 34.0]),
        ("humidity_pct", [8.0, 9.0, 10.0]),
        ("humidity_pct", [0.5, 60.0, 60.0]),
        ("cloud_pct", [0.0, 0.0, 0.0]),
        ("cloud_pct", [0.0, 1.0, 1.0]),
        ("pressure_pa", [97_000.0] * 3),
        ("pressure_pa", [-5.0] * 3),
        ("wind_m_s", [0.5] * 3),
        ("humidity_pct", [np.nan] * 9),
    ],
)
def test_what_may_well_be_is_not_suspected(name: str, values: list[float]) -> None:
    assert units(name, *values) == {}


def test_without_a_witness_no_temperature_is_suspected() -> None:
    assert units("temp_c", *[68.0] * 5, expected={}) == {}
    assert units("temp_c", *[68.0] * 5, expected={"temp_c": np.nan}) == {}


def test_fewer_values_are_a_hiccup() -> None:
    assert units("humidity_pct", *[0.5] * (LEAST_VALUES - 1)) == {}
