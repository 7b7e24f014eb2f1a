"""Quality control limits of Zahumenský 2004 (WMO CBS/OPAG-IOS/ET AWS-3/Doc. 4(1)), case by case.

Limits and cases as listed in the project's reference (domain.md 10.1); seen there through a
secondary source except where marked "memory". Where MADIS or a sensor's zero offset narrows or
widens a range, the value inside keeps clear of it.
"""

import numpy as np
import pytest

from watcher.sources.base import Flag, Observations
from watcher.sources.quality.check import check
from watcher.weather.series import Site, WeatherSeries

SITE = Site(latitude=41.2, longitude=-96.6)


def flags_of(name: str, values: list[float], every_s: int = 60) -> list[int]:
    series = WeatherSeries.of(np.arange(len(values)) * every_s, SITE, "mast", {name: values})
    found = check(Observations(series)).flags
    return list(found.get(name, np.zeros(len(values), dtype=np.uint16)))


def together(**values: float) -> dict[str, int]:
    series = WeatherSeries.of([0], SITE, "mast", {name: [v] for name, v in values.items()})
    return {name: int(flags[0]) for name, flags in check(Observations(series)).flags.items()}


@pytest.mark.parametrize(
    ("name", "inside", "outside"),
    [
        ("dew_point_c", -67.0, -80.1),
        ("dew_point_c", 32.0, 35.1),
        ("temp_c", -51.0, -80.1),
        ("temp_c", 54.0, 60.1),
        ("humidity_pct", 0.0, -0.1),
        ("humidity_pct", 100.0, 100.1),
        ("pressure_pa", 110_000.0, 110_001.0),
        ("pressure_pa", 57_000.0, 49_999.0),
        ("wind_m_s", 0.0, -0.1),
        ("wind_m_s", 75.0, 75.1),
        ("wind_from_deg", 0.0, -1.0),
        ("wind_from_deg", 360.0, 361.0),
        ("solar_w_m2", 1600.0, 1601.0),
    ],
)
def test_plausible_range(name: str, inside: float, outside: float) -> None:
    assert flags_of(name, [inside]) == [Flag.GOOD]
    assert flags_of(name, [outside]) == [Flag.RANGE]


@pytest.mark.parametrize(
    ("name", "before", "passes", "fails"),
    [
        ("temp_c", 20.0, 23.0, 23.1),
        ("temp_c", 20.0, 17.0, 16.9),
        ("dew_point_c", 10.0, 14.0, 14.1),  # memory
        ("humidity_pct", 60.0, 75.0, 76.0),
        ("pressure_pa", 100_000.0, 100_200.0, 100_250.0),
        ("wind_m_s", 2.0, 22.0, 22.1),
        ("solar_w_m2", 100.0, 900.0, 901.0),
    ],
)
def test_step_in_one_minute(name: str, before: float, passes: float, fails: float) -> None:
    assert flags_of(name, [before, passes]) == [Flag.GOOD, Flag.GOOD]
    assert flags_of(name, [before, fails]) == [Flag.GOOD, Flag.STEP]


def test_a_gust_under_the_mean_is_inconsistent() -> None:
    found = together(wind_m_s=5.0, gust_m_s=4.0)
    assert found == {"wind_m_s": Flag.INCONSISTENT, "gust_m_s": Flag.INCONSISTENT}
    assert together(wind_m_s=5.0, gust_m_s=5.0) == {}


def test_a_dew_point_over_the_temperature_is_inconsistent() -> None:
    found = together(temp_c=15.0, dew_point_c=15.2)
    assert found == {"temp_c": Flag.INCONSISTENT, "dew_point_c": Flag.INCONSISTENT}
    assert together(temp_c=15.0, dew_point_c=15.0) == {}


def test_a_calm_has_no_direction_and_its_vane_no_fault() -> None:
    """Speed 0 goes with the direction of a calm, which is none (FM 15: 00000)."""
    calm = {"wind_m_s": [0.0, 3.0], "wind_from_deg": [342.0, 342.0]}
    found = check(Observations(WeatherSeries.of([0, 60], SITE, "mast", calm)))
    assert found.flags == {}
    assert np.isnan(found.usable().wind_from_deg).tolist() == [True, False]
