"""Moist air beside two independent libraries and ASHRAE's table, from -20 to 50 degC.

Three kinds of wet bulb meet here. Ours is what a ventilated psychrometer shows (WMO-No. 8, Annex
4.B); psychrolib's is the thermodynamic one of adiabatic saturation (ASHRAE), over ice when it is
below freezing; MetPy's is where a parcel lifted to its condensation level comes back down to
along a moist adiabat. The psychrometer reads highest. The bounds below are those differences.
"""

import warnings
from typing import Any

import numpy as np
import psychrolib
import pytest

from watcher.weather.air import (
    air_density,
    delta_t,
    dew_point,
    humidity,
    saturation_vapour_pressure,
    saturation_vapour_pressure_over_ice,
    wet_bulb,
)

TEMPS = np.arange(-20.0, 50.1, 5.0)
HUMIDITIES = np.array([1.0, 5.0, 10.0, 20.0, 40.0, 60.0, 80.0, 95.0, 100.0])
PRESSURES = np.array([80_000.0, 90_000.0, 101_325.0, 105_000.0])
T, H, P = np.meshgrid(TEMPS, HUMIDITIES, PRESSURES, indexing="ij")


@pytest.fixture(autouse=True)
def _si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


def adiabatic_saturation(t: float, h: float, p: float) -> float:
    """psychrolib's wet bulb of the same vapour: its own humidity is over ice below freezing."""
    vapour = h / 100 * float(saturation_vapour_pressure(temp_c=t))
    share = vapour / psychrolib.GetSatVapPres(t)
    return psychrolib.GetTWetBulbFromRelHum(t, share, p) if share <= 1 else np.nan


@pytest.fixture(scope="module")
def thermodynamic() -> np.ndarray:
    psychrolib.SetUnitSystem(psychrolib.SI)
    return np.vectorize(adiabatic_saturation)(T, H, P)


@pytest.fixture(scope="module")
def metpy() -> Any:
    """MetPy's calculations; importing it and its extremes of dry air warn."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import metpy.calc  # noqa: PLC0415
        import metpy.units  # noqa: PLC0415
    return metpy


def test_wet_bulb_above_freezing_beside_psychrolib(thermodynamic: np.ndarray) -> None:
    """The psychrometer is never the cooler: 0 to 0.33 K warmer, most in hot dry air."""
    difference = (wet_bulb(temp_c=T, humidity_pct=H, pressure_pa=P) - thermodynamic)[
        thermodynamic > 0
    ]
    assert difference.size > 250
    assert difference.min() > -0.001
    assert difference.max() < 0.33


def test_wet_bulb_of_spraying_weather_beside_psychrolib(thermodynamic: np.ndarray) -> None:
    """5 to 35 degC and 20 % humidity or more: within 0.2 K."""
    usual = (T >= 5) & (T <= 35) & (H >= 20) & (thermodynamic > 0)
    difference = wet_bulb(temp_c=T, humidity_pct=H, pressure_pa=P) - thermodynamic
    assert usual.sum() > 100
    assert np.abs(difference[usual]).max() < 0.2


def test_wet_bulb_below_freezing_beside_psychrolib(thermodynamic: np.ndarray) -> None:
    """Liquid bulb against ice bulb, and the step psychrolib's makes at freezing: -0.4 to 0.75 K."""
    frozen = thermodynamic <= 0
    difference = (wet_bulb(temp_c=T, humidity_pct=H, pressure_pa=P) - thermodynamic)[frozen]
    assert difference.size > 100
    assert difference.min() > -0.4
    assert difference.max() < 0.75


def test_wet_bulb_beside_metpy(metpy: Any) -> None:
    """Pseudo-adiabatic: never warmer than ours by more than 0.03 K, cooler the drier and hotter."""
    units = metpy.units.units
    sparse = (slice(None, None, 2), slice(None, None, 2), slice(None, None, 2))
    t, h, p = T[sparse], H[sparse], P[sparse]
    ours = wet_bulb(temp_c=t, humidity_pct=h, pressure_pa=p)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        td = metpy.calc.dewpoint_from_relative_humidity(t * units.degC, h * units.percent)
        theirs = metpy.calc.wet_bulb_temperature(p * units.Pa, t * units.degC, td).m_as("degC")
    difference = ours - theirs
    assert difference.min() > -0.03
    for driest, hottest, bound in ((1, 50, 1.6), (20, 50, 0.85), (20, 30, 0.52), (80, 30, 0.12)):
        usual = (h >= driest) & (t <= hottest) & (t >= 0)
        assert difference[usual].max() < bound, f"humidity from {driest} %, up to {hottest} degC"


def test_saturation_beside_metpy(metpy: Any) -> None:
    """Magnus against Ambaum (2020), over liquid water at all temperatures: within 0.6 %."""
    units = metpy.units.units
    theirs = metpy.calc.saturation_vapor_pressure(TEMPS * units.degC).m_as("Pa")
    assert saturation_vapour_pressure(temp_c=TEMPS) == pytest.approx(theirs, rel=6e-3)


def test_dew_point_beside_metpy(metpy: Any) -> None:
    """MetPy's inverts another formula (Bolton 1980) than its own saturation: within 0.2 K."""
    units = metpy.units.units
    t, h = T[:, :, 0], H[:, :, 0]
    theirs = metpy.calc.dewpoint_from_relative_humidity(t * units.degC, h * units.percent)
    assert np.abs(dew_point(temp_c=t, humidity_pct=h) - theirs.m_as("degC")).max() < 0.2


def test_dew_point_beside_psychrolib() -> None:
    """Hyland and Wexler's formula inverted, where dew is liquid: within 0.05 K."""
    checked = 0
    for t, h in zip(T[:, :, 0].ravel(), H[:, :, 0].ravel(), strict=True):
        if t < 0:
            continue
        theirs = psychrolib.GetTDewPointFromRelHum(t, h / 100)
        if theirs > 0:
            assert dew_point(temp_c=t, humidity_pct=h) == pytest.approx(theirs, abs=0.05)
            checked += 1
    assert checked > 40


def test_humidity_beside_psychrolib() -> None:
    for t, td in ((30.0, 20.0), (30.0, 2.0), (15.0, 14.0), (45.0, 5.0)):
        theirs = 100 * psychrolib.GetRelHumFromTDewPoint(t, td)
        assert humidity(temp_c=t, dew_point_c=td) == pytest.approx(theirs, rel=4e-3)


@pytest.mark.parametrize(("t", "pa"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12_351.3)])
def test_saturation_beside_ashraes_table(t: float, pa: float) -> None:
    """Table 3 of chapter 1 of the 2017 ASHRAE Handbook; Magnus is 0.5 % under it at 50 degC."""
    assert saturation_vapour_pressure(temp_c=t) == pytest.approx(pa, rel=5e-3)


@pytest.mark.parametrize(("t", "pa"), [(-5.0, 401.74), (-20.0, 103.24)])
def test_saturation_over_ice_beside_ashraes_table(t: float, pa: float) -> None:
    assert saturation_vapour_pressure_over_ice(temp_c=t) == pytest.approx(pa, rel=2e-3)


def test_ashraes_first_example() -> None:
    """40 degC dry, 20 wet at sea level: humidity 14 %, dew point 7 degC (both as rounded there)."""
    tw = wet_bulb(temp_c=40.0, humidity_pct=[13.5, 14.5], pressure_pa=101_325.0)
    assert tw[0] - 0.2 < 20.0 < tw[1]
    td = dew_point(temp_c=40.0, humidity_pct=14.0)
    assert td == pytest.approx(7.0, abs=0.5)


def test_ashraes_check_at_30_dry_25_wet() -> None:
    """Humidity ratio 0.0192281 at 95 461 Pa; the psychrometer's coefficient reads 0.08 K higher."""
    vapour = 95_461.0 * 0.0192281 / (0.621945 + 0.0192281)
    h = 100 * vapour / saturation_vapour_pressure(temp_c=30.0)
    tw = wet_bulb(temp_c=30.0, humidity_pct=h, pressure_pa=95_461.0)
    assert 25.0 <= tw < 25.1


def test_stulls_example() -> None:
    """Stull (2011): 20 degC, 50 % at sea level is 13.7 degC; his fit errs by up to 0.65 K."""
    tw = wet_bulb(temp_c=20.0, humidity_pct=50.0, pressure_pa=101_325.0)
    assert tw == pytest.approx(13.7, abs=0.3)


@pytest.mark.parametrize(
    ("t", "h", "depression"),
    [
        (10, 95, 0.42),
        (15, 80, 2.00),
        (20, 90, 1.13),
        (20, 50, 6.17),
        (25, 70, 4.00),
        (25, 50, 7.05),
        (30, 60, 6.13),
        (30, 40, 9.85),
        (30, 20, 14.17),
        (35, 30, 13.35),
        (40, 15, 19.46),
    ],
)
def test_delta_t_by_a_separate_solution_of_the_same_equation(
    t: float, h: float, depression: float
) -> None:
    """Two decimals worked out by bisection outside this program, at 1013.25 hPa."""
    found = delta_t(temp_c=t, humidity_pct=h, pressure_pa=101_325.0)
    assert found == pytest.approx(depression, abs=0.011)


def test_the_stations_own_pressure_moves_delta_t_over_ten() -> None:
    """30 degC, 40 %: 9.85 K at sea level, 10.40 K at 845.56 hPa (about 1500 m)."""
    here = delta_t(temp_c=30.0, humidity_pct=40.0, pressure_pa=84_556.0)
    assert here == pytest.approx(10.40, abs=0.011)


@pytest.mark.parametrize(("t", "h"), [(0.0, 50.0), (30.0, 80.0), (45.0, 60.0)])
def test_the_density_of_moist_air_beside_psychrolib(t: float, h: float) -> None:
    """By the perfect gas relation of ASHRAE's chapter 1; vapour is worth up to 4 %."""
    ratio = psychrolib.GetHumRatioFromRelHum(t, h / 100, 101_325.0)
    theirs = psychrolib.GetMoistAirDensity(t, ratio, 101_325.0)
    found = air_density(temp_c=t, humidity_pct=h, pressure_pa=101_325.0)
    assert found == pytest.approx(theirs, rel=1e-4)
