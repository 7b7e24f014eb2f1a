"""Worked examples of Allen et al. (1998), Crop evapotranspiration, FAO Irrigation and Drainage 56.

FAO-56 uses the Tetens formula for vapour pressure and its own atmosphere; ours are the WMO's and
the standard atmosphere. Where they differ the bound says by how much.
"""

import numpy as np
import pytest

from watcher.weather.air import (
    dew_point,
    humidity,
    pressure_at,
    saturation_vapour_pressure,
    vapour_pressure_deficit,
    wet_bulb,
)
from watcher.weather.sun import day_length
from watcher.weather.wind_profile import wind_at_height

# Magnus against Tetens: 0.26 % apart at 25 degC.
FORMULAS = 3e-3


def test_example_14_wind_from_ten_metres_to_two() -> None:
    assert wind_at_height(wind_m_s=3.2, from_m=10.0, to_m=2.0) == pytest.approx(2.4, abs=0.05)


@pytest.mark.parametrize("z", [0.5, 1.0, 1.5, 3.0, 10.0])
def test_equation_47_over_the_reference_grass(z: float) -> None:
    """Its constants 4.87, 67.8 and 5.42 are rounded: worth 0.1 % at 1 m and above."""
    expected = 5.0 * 4.87 / np.log(67.8 * z - 5.42)
    found = wind_at_height(wind_m_s=5.0, from_m=z, to_m=2.0)
    assert found == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize(("t", "kpa"), [(15.0, 1.705), (24.5, 3.075), (19.5, 2.267)])
def test_examples_3_and_4_saturation_vapour_pressure(t: float, kpa: float) -> None:
    assert saturation_vapour_pressure(temp_c=t) / 1000 == pytest.approx(kpa, rel=FORMULAS)


def test_example_3_mean_saturation_of_a_day() -> None:
    both = vapour_pressure_deficit(temp_c=[15.0, 24.5], humidity_pct=0.0)
    assert both.mean() / 1000 == pytest.approx(2.39, abs=0.01)


def test_example_4_psychrometer_reading() -> None:
    """Ventilated psychrometer at 1200 m: 25.6 and 19.5 degC at 87.9 kPa mean 1.91 kPa of vapour.

    Its coefficient 6.62e-4 against the WMO's 6.53e-4 (1 + 0.000944 t) = 6.65e-4, and 1.91 is
    rounded by up to 0.005, which is worth 0.03 K.
    """
    humid = 100 * 1910.0 / saturation_vapour_pressure(temp_c=25.6)
    tw = wet_bulb(temp_c=25.6, humidity_pct=humid, pressure_pa=87_900.0)
    assert tw == pytest.approx(19.5, abs=0.05)


@pytest.mark.parametrize(
    ("t", "h", "kpa"), [(18.0, 82.0, 2.064 * 0.82), (25.0, 54.0, 3.168 * 0.54)]
)
def test_example_5_vapour_from_humidity(t: float, h: float, kpa: float) -> None:
    lacking = vapour_pressure_deficit(temp_c=t, humidity_pct=h)
    vapour = saturation_vapour_pressure(temp_c=t) - lacking
    assert vapour / 1000 == pytest.approx(kpa, rel=FORMULAS)


def test_example_20_vapour_at_the_dew_point() -> None:
    assert saturation_vapour_pressure(temp_c=14.8) / 1000 == pytest.approx(1.68, abs=0.006)


@pytest.mark.parametrize(("t", "td", "h"), [(25.0, 15.0, 53.83), (30.0, 10.0, 28.94)])
def test_humidity_of_a_dew_point_by_tetens(t: float, td: float, h: float) -> None:
    assert humidity(temp_c=t, dew_point_c=td) == pytest.approx(h, abs=0.05)


@pytest.mark.parametrize(("t", "h", "td"), [(25.0, 50.0, 13.85), (30.0, 60.0, 21.37)])
def test_dew_point_by_annex_3_equation_11(t: float, h: float, td: float) -> None:
    """Its rounded constants lose 0.01 K of their own."""
    assert dew_point(temp_c=t, humidity_pct=h) == pytest.approx(td, abs=0.03)


@pytest.mark.parametrize(
    ("t", "h", "kpa"), [(30.0, 40.0, 2.546), (25.0, 50.0, 1.584), (20, 70, 0.701)]
)
def test_vapour_pressure_deficit_by_tetens(t: float, h: float, kpa: float) -> None:
    deficit = vapour_pressure_deficit(temp_c=t, humidity_pct=h) / 1000
    assert deficit == pytest.approx(kpa, rel=4e-3)


def test_example_2_pressure_at_1800_metres() -> None:
    """81.8 kPa by its simplified atmosphere of 293 K; the standard atmosphere has 0.3 % less."""
    assert pressure_at(elevation_m=1800.0) == pytest.approx(81_800.0, rel=5e-3)


def test_example_9_daylight_at_20_south_on_3_september() -> None:
    """11.7 h for the sun's centre on a bare horizon; limb and refraction add 0.833/15 h twice.

    FAO-56 equation 24 has the declination within half a degree: worth 0.03 h at this latitude.
    """
    when = 1_756_900_800  # 2025-09-03 12:00 UTC
    hours = day_length(times=when, latitude=-20.0, longitude=0.0)
    assert hours == pytest.approx(11.665 + 2 * 0.833 / 15 / np.cos(np.radians(20.0)), abs=0.03)
