"""Sprayer arithmetic against worked examples.

Rate formulas as printed by UF/IFAS WG013 and MU G1270a (GPA = 5940 GPM / (mph in)), the
reference sprayer of Nuyttens et al. (ISO 22866 trials), ASAE EP496 field capacity. The examples'
figures are computed from those formulas in their own units, independently of our code.
"""

import pytest

from watcher.limits.application import (
    NOZZLE_SIZES,
    carrier_from_flow,
    flow_at_pressure,
    flow_for_carrier,
    flow_of_solution,
    nozzle_size,
    pressure_for_flow,
    speed_for_carrier,
    work_rate,
)

MPH = 0.44704
KMH = 1 / 3.6
INCH = 0.0254
FOOT = 0.3048
GAL = 3.785411784
GAL_PER_ACRE = 9.353956
PSI = 6894.757
BAR = 1e5


def test_four_tenths_gallon_at_ten_mph_on_20_inches_gives_11_88_gallons_per_acre():
    rate = carrier_from_flow(flow_l_min=0.4 * GAL, speed_m_s=10 * MPH, spacing_m=20 * INCH)
    assert rate / GAL_PER_ACRE == pytest.approx(11.88, rel=1e-6)


def test_fifteen_gallons_per_acre_at_12_mph_on_20_inches_needs_606_thousandths_gpm():
    flow = flow_for_carrier(carrier_l_ha=15 * GAL_PER_ACRE, speed_m_s=12 * MPH, spacing_m=20 * INCH)
    assert flow / GAL == pytest.approx(0.60606, abs=5e-6)


@pytest.mark.parametrize(
    ("flow_l_min", "speed_kmh", "carrier_l_ha"), [(1.6, 12, 160), (1.2, 8, 180)]
)
def test_metric_rates_and_the_reference_sprayer_of_the_drift_trials(
    flow_l_min, speed_kmh, carrier_l_ha
):
    nozzle = {"flow_l_min": flow_l_min, "spacing_m": 0.5}
    assert carrier_from_flow(speed_m_s=speed_kmh * KMH, **nozzle) == pytest.approx(carrier_l_ha)
    assert speed_for_carrier(carrier_l_ha=carrier_l_ha, **nozzle) == pytest.approx(speed_kmh * KMH)


@pytest.mark.parametrize(("psi", "gpm"), [(20, 0.2828), (30, 0.3464), (60, 0.4899)])
def test_a_gauge_of_04_at_40_psi_follows_the_square_root_of_pressure(psi, gpm):
    flow = flow_at_pressure(flow_l_min=0.4 * GAL, at_pa=40 * PSI, pressure_pa=psi * PSI)
    assert flow / GAL == pytest.approx(gpm, abs=5e-5)


@pytest.mark.parametrize(("bar", "l_min"), [(2, 0.9798), (4, 1.3856)])
def test_size_03_follows_the_square_root_of_pressure(bar, l_min):
    flow = flow_at_pressure(
        flow_l_min=nozzle_size("03").flow_l_min, at_pa=3 * BAR, pressure_pa=bar * BAR
    )
    assert flow == pytest.approx(l_min, abs=5e-5)


def test_twice_the_speed_needs_four_times_the_pressure():
    assert pressure_for_flow(
        flow_l_min=2.4, known_flow_l_min=1.2, known_pa=2 * BAR
    ) == pytest.approx(8 * BAR)


def test_liquid_nitrogen_fertiliser_has_the_printed_conversion_factor():
    # 28 % nitrogen solution, relative density 1.28: factor 1.13 (value from memory)
    flow = flow_of_solution(water_flow_l_min=1.0, relative_density=1.28)
    assert 1 / flow == pytest.approx(1.13, abs=0.005)


@pytest.mark.parametrize(
    ("speed_m_s", "width_m", "per_hour", "unit_m2"),
    [
        (12 * MPH, 90 * FOOT, 85.09, 4046.8564),
        (7 * MPH, 60 * FOOT, 33.09, 4046.8564),
        (12 * KMH, 27.0, 21.06, 1e4),
    ],
)
def test_field_capacity_at_65_percent_efficiency(speed_m_s, width_m, per_hour, unit_m2):
    rate = work_rate(speed_m_s=speed_m_s, boom_width_m=width_m, efficiency_pct=65)
    assert rate * 3600 / unit_m2 == pytest.approx(per_hour, abs=0.005)


@pytest.mark.parametrize("size", NOZZLE_SIZES, ids=lambda size: size.code)
def test_iso_10625_sizes_are_tenths_of_a_us_gallon_at_40_psi_within_the_5_percent_allowed(size):
    # "04" reads 0.4, "015" reads 0.15 and "0075" 0.075 gpm at 40 psi
    gpm = float(size.code[0] + "." + size.code[1:]) if size.code[0] == "0" else int(size.code) / 10
    flow = flow_at_pressure(flow_l_min=gpm * GAL, at_pa=40 * PSI, pressure_pa=3 * BAR)
    assert size.flow_l_min == pytest.approx(flow, rel=0.05)
