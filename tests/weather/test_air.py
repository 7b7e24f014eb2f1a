"""Laws of moist air that hold whatever the formula, and what happens at the edges of its range."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.weather.air import (
    air_density,
    delta_t,
    dew_point,
    humidity,
    pressure_at,
    saturation_vapour_pressure,
    saturation_vapour_pressure_over_ice,
    vapour_pressure_deficit,
    wet_bulb,
)

temps = st.floats(-45, 60)
humidities = st.floats(1, 100)
pressures = st.floats(50_000, 110_000)


@given(temps, humidities, pressures)
def test_the_wet_bulb_lies_between_dew_point_and_temperature(t: float, h: float, p: float) -> None:
    tw = wet_bulb(temp_c=t, humidity_pct=h, pressure_pa=p)
    assert dew_point(temp_c=t, humidity_pct=h) - 1e-6 <= tw <= t


@given(temps, pressures)
def test_saturated_air_has_no_depression_freezing_or_not(t: float, p: float) -> None:
    depression = delta_t(temp_c=t, humidity_pct=100.0, pressure_pa=p)
    assert 0.0 <= depression < 1e-12


@given(temps, humidities, pressures)
def test_the_wet_bulb_solves_the_psychrometer_equation(t: float, h: float, p: float) -> None:
    """The annex's equation, written out here once more; 1e-4 K of error is the promise."""
    tw = float(wet_bulb(temp_c=t, humidity_pct=h, pressure_pa=p))
    factor = 1.0016 + 3.15e-6 * (p / 100) - 0.074 / (p / 100)

    def vapour_hpa(x: float) -> float:
        return factor * 6.112 * np.exp(17.62 * x / (243.12 + x))

    def left_over(x: float) -> float:
        coefficient = 6.53e-4 * (1 + 0.000944 * x) * (p / 100)
        return vapour_hpa(x) - coefficient * (t - x) - h / 100 * vapour_hpa(t)

    assert left_over(tw - 1e-4) <= 0.0 <= left_over(tw + 1e-4)


@given(temps, st.floats(1, 99), pressures)
def test_damper_air_has_less_depression(t: float, h: float, p: float) -> None:
    drier = delta_t(temp_c=t, humidity_pct=h, pressure_pa=p)
    assert delta_t(temp_c=t, humidity_pct=h + 1, pressure_pa=p) < drier


@given(st.floats(-45, 59), humidities, pressures)
def test_warmer_air_of_the_same_humidity_has_a_warmer_wet_bulb(
    t: float, h: float, p: float
) -> None:
    cooler = wet_bulb(temp_c=t, humidity_pct=h, pressure_pa=p)
    assert wet_bulb(temp_c=t + 1, humidity_pct=h, pressure_pa=p) > cooler


@given(humidities, pressures)
def test_nothing_jumps_at_freezing(h: float, p: float) -> None:
    """Liquid bulb and humidity over water: one convention on both sides, so no step."""
    around = np.array([-1e-6, 0.0, 1e-6])
    tw = wet_bulb(temp_c=around, humidity_pct=h, pressure_pa=p)
    td = dew_point(temp_c=around, humidity_pct=h)
    assert np.ptp(tw) < 1e-5
    assert np.ptp(td) < 1e-5


@given(st.floats(-1, 1), st.floats(20, 100))
def test_a_wet_bulb_near_freezing_does_not_jump_either(tw: float, h: float) -> None:
    t = np.linspace(tw, tw + 8.0, 4001)
    steps = np.diff(wet_bulb(temp_c=t, humidity_pct=h, pressure_pa=95_000.0))
    assert np.all((steps > 0) & (steps < 0.004))


@given(temps, st.floats(0.5, 100))
def test_humidity_undoes_the_dew_point(t: float, h: float) -> None:
    there = dew_point(temp_c=t, humidity_pct=h)
    assert humidity(temp_c=t, dew_point_c=there) == pytest.approx(h, rel=1e-9)


@given(st.floats(-45, 60), st.floats(0, 50))
def test_the_dew_point_undoes_humidity(t: float, depression: float) -> None:
    td = max(t - depression, -100.0)
    back = dew_point(temp_c=t, humidity_pct=humidity(temp_c=t, dew_point_c=td))
    assert back == pytest.approx(td, abs=1e-8)


@given(temps, humidities)
def test_the_dew_points_vapour_is_the_airs_vapour(t: float, h: float) -> None:
    td = float(dew_point(temp_c=t, humidity_pct=h))
    if td < -45:
        return
    vapour = saturation_vapour_pressure(temp_c=t) * h / 100
    assert saturation_vapour_pressure(temp_c=td) == pytest.approx(vapour, rel=1e-9)


@given(temps, humidities)
def test_the_deficit_is_what_lacks_to_saturation(t: float, h: float) -> None:
    full = saturation_vapour_pressure(temp_c=t)
    lacks = vapour_pressure_deficit(temp_c=t, humidity_pct=h)
    assert full - lacks == pytest.approx(full * h / 100, rel=1e-9)


def test_ice_holds_less_vapour_than_water_below_freezing_and_as_much_at_it() -> None:
    below = np.linspace(-45, -0.1, 50)
    assert np.all(
        saturation_vapour_pressure_over_ice(temp_c=below) < saturation_vapour_pressure(temp_c=below)
    )
    at = saturation_vapour_pressure_over_ice(temp_c=0.0)
    assert at == pytest.approx(saturation_vapour_pressure(temp_c=0.0))


@given(st.floats(-45, 59), humidities, pressures)
def test_warmer_or_damper_air_is_lighter(t: float, h: float, p: float) -> None:
    here = air_density(temp_c=t, humidity_pct=h, pressure_pa=p)
    assert air_density(temp_c=t + 1, humidity_pct=h, pressure_pa=p) < here
    assert air_density(temp_c=t, humidity_pct=h * 0.9, pressure_pa=p) > here


def test_dry_air_at_fifteen_degrees_has_the_standard_density() -> None:
    """1.225 kg/m3: the standard atmosphere at sea level (ISO 2533)."""
    density = air_density(temp_c=15.0, humidity_pct=0.0, pressure_pa=101_325.0)
    assert density == pytest.approx(1.225, abs=5e-4)


@pytest.mark.parametrize(
    ("elevation_m", "pressure_pa"), [(0.0, 101_325.0), (500.0, 95_461.0), (1000.0, 89_875.0)]
)
def test_pressure_falls_as_in_the_standard_atmosphere(
    elevation_m: float, pressure_pa: float
) -> None:
    """Table 1 of chapter 1 of the 2017 ASHRAE Handbook of Fundamentals."""
    assert pressure_at(elevation_m=elevation_m) == pytest.approx(pressure_pa, abs=1.0)


def test_a_dew_point_rounded_just_above_the_temperature_is_saturation() -> None:
    assert humidity(temp_c=12.30, dew_point_c=12.34) == 100.0


@pytest.mark.parametrize(
    ("t", "h", "p"),
    [
        (-45.1, 50, 1e5),
        (60.1, 50, 1e5),
        (20, -0.1, 1e5),
        (20, 100.1, 1e5),
        (20, 50, 49_999),
        (20, 50, 1013.25),  # hectopascals by mistake
        (20, 50, 110_001),
        (np.inf, 50, 1e5),
    ],
)
def test_air_outside_the_stated_range_has_no_wet_bulb(t: float, h: float, p: float) -> None:
    assert np.isnan(wet_bulb(temp_c=t, humidity_pct=h, pressure_pa=p))
    assert np.isnan(air_density(temp_c=t, humidity_pct=h, pressure_pa=p))


def test_perfectly_dry_air_has_a_wet_bulb_but_no_dew_point() -> None:
    assert np.isnan(dew_point(temp_c=20.0, humidity_pct=0.0))
    assert wet_bulb(temp_c=20.0, humidity_pct=0.0, pressure_pa=1e5) < 10.0


@pytest.mark.parametrize("td", [20.1, 30.0, -100.1])
def test_an_impossible_dew_point_has_no_humidity(td: float) -> None:
    assert np.isnan(humidity(temp_c=20.0, dew_point_c=td))


def test_ice_ends_at_its_range() -> None:
    beyond = saturation_vapour_pressure_over_ice(temp_c=[-65.1, 0.1])
    assert np.all(np.isnan(beyond))


def test_many_points_give_the_same_as_one_at_a_time() -> None:
    """More than one block, not a whole number of blocks, of two broadcast shapes."""
    t = np.linspace(-20, 50, 101)[:, None]
    h = np.linspace(1, 100, 203)[None, :]
    whole = delta_t(temp_c=t, humidity_pct=h, pressure_pa=90_000.0)
    assert whole.shape == (101, 203)
    some = [(0, 0), (50, 101), (100, 202), (81, 7)]
    singly = [delta_t(temp_c=t[i, 0], humidity_pct=h[0, j], pressure_pa=90_000.0) for i, j in some]
    assert [whole[i, j] for i, j in some] == pytest.approx(singly, abs=1e-12)


def test_one_missing_value_spoils_only_its_own_place() -> None:
    t = np.full(20_000, 25.0)
    t[12_345] = np.nan
    found = wet_bulb(temp_c=t, humidity_pct=50.0, pressure_pa=1e5)
    assert np.flatnonzero(np.isnan(found)).tolist() == [12_345]


def test_a_dew_point_may_round_to_a_twentieth_above_the_temperature_and_no_further() -> None:
    found = humidity(temp_c=0.0, dew_point_c=[0.05, 0.051])
    assert found[0] == 100.0
    assert np.isnan(found[1])


@pytest.mark.parametrize(
    ("elevation_m", "known"), [(-500.1, False), (-500, True), (11_000, True), (11_000.1, False)]
)
def test_the_standard_atmosphere_ends_at_its_range(elevation_m: float, known: bool) -> None:
    assert np.isfinite(pressure_at(elevation_m=elevation_m)) == known
