import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.farm.models import DropletClass, NozzleKind, Sprayer
from watcher.limits.application import (
    NOZZLE_SIZES,
    RATED_PRESSURE_PA,
    WORKING_PRESSURE_PA,
    carrier_from_flow,
    droplets_at_pressure,
    finer_from,
    flow_at_pressure,
    flow_for_carrier,
    flow_of_solution,
    loads,
    mix_for_load,
    nozzle_size,
    planned_duration,
    pressure_for_flow,
    size_for_flow,
    speed_for_carrier,
)

BAR = 1e5


def test_size_codes_carry_their_colour():
    assert nozzle_size("04").colour == "red"


def test_an_unknown_size_code_names_the_known_ones():
    with pytest.raises(ValueError, match=r'"07".*0075, 01'):
        nozzle_size("07")


def test_the_nearest_size_for_a_flow_is_found_at_any_pressure():
    # 1.2 L/min at 3 bar is 1.386 at 4 bar: an 03 at 4 bar, an 035 at 3 bar
    assert size_for_flow(flow_l_min=1.386, pressure_pa=4 * BAR).code == "03"
    assert size_for_flow(flow_l_min=1.386, pressure_pa=3 * BAR).code == "035"


@pytest.mark.parametrize(
    ("bar", "expected"),
    [
        (3, DropletClass.COARSE),
        (6, DropletClass.MEDIUM),
        (1.5, DropletClass.VERY_COARSE),
        (4, DropletClass.COARSE),
        (4.25, DropletClass.MEDIUM),
    ],
)
def test_doubling_the_pressure_makes_the_spray_one_class_finer(bar, expected):
    at = droplets_at_pressure(
        droplets=DropletClass.COARSE, reference_pa=3 * BAR, pressure_pa=bar * BAR
    )
    assert at is expected


@given(
    st.sampled_from(DropletClass), st.floats(0.5 * BAR, 20 * BAR), st.floats(0.5 * BAR, 20 * BAR)
)
def test_more_pressure_never_makes_coarser_drops(droplets, one, other):
    low, high = sorted([one, other])
    at = {"droplets": droplets, "reference_pa": 3 * BAR}
    assert droplets_at_pressure(pressure_pa=high, **at) <= droplets_at_pressure(
        pressure_pa=low, **at
    )


def test_a_field_takes_full_loads_and_a_rest():
    # 40 ha at 150 L/ha are 6000 L: two tanks of 2500 L and one of 1000 L
    needed = loads(area_m2=40e4, carrier_l_ha=150, tank_l=2500)
    assert (needed.full, needed.count) == (2, 3)
    assert needed.last_l == pytest.approx(1000)


def test_a_field_that_just_empties_the_tank_needs_no_second_load():
    needed = loads(area_m2=25e4, carrier_l_ha=100.0000000001, tank_l=2500)
    assert (needed.count, needed.last_l) == (1, 0.0)


@given(st.floats(1e2, 1e7), st.floats(20, 400), st.floats(100, 1e4))
def test_the_loads_add_up_to_what_the_field_takes(area_m2, carrier_l_ha, tank_l):
    needed = loads(area_m2=area_m2, carrier_l_ha=carrier_l_ha, tank_l=tank_l)
    total = needed.full * tank_l + needed.last_l
    assert total == pytest.approx(area_m2 / 1e4 * carrier_l_ha, abs=2e-3, rel=1e-9)
    assert 0 <= needed.last_l <= tank_l


def test_the_mix_of_a_load_covers_the_area_the_load_covers():
    # 2000 L at 160 L/ha cover 12.5 ha; 1.5 L/ha of product is 18.75 L
    assert mix_for_load(load_l=2000, carrier_l_ha=160, dose_per_ha=1.5) == pytest.approx(18.75)


def test_a_field_takes_its_area_over_the_work_rate_and_its_fills():
    sprayer = Sprayer.model_validate(
        {
            "boom_width": "27 m",
            "boom_height": "50 cm",
            "speed": "12 km/h",
            "tank": "3000 L",
            "field_efficiency": "65 %",
            "fill_time": "0.5 h",
        }
    )
    # 21.06 ha/h: 42.12 ha take 2 h; 6318 L at 150 L/ha are three fills of half an hour
    hours = planned_duration(area_m2=42.12e4, sprayer=sprayer, carrier_l_ha=150) / 3600
    assert hours == pytest.approx(3.5)


@pytest.mark.parametrize("size", NOZZLE_SIZES, ids=lambda size: size.code)
def test_the_code_of_a_size_tells_its_flow(size):
    """ISO 10625: 01 stands for 0.4 L/min at 3 bar, a tenth of a US gallon at 40 psi, and every
    other code for so many times that (values from memory)."""
    digits = size.code if len(size.code) == 2 else f"{size.code[:2]}.{size.code[2:]}"
    assert size.flow_l_min == pytest.approx(0.4 * float(digits))
    assert RATED_PRESSURE_PA == 3 * BAR


def test_the_pressures_each_kind_of_nozzle_is_made_for():
    """Common practice, no source: values from memory."""
    in_bar = {
        NozzleKind.FLAT_FAN: (1.0, 4.2),
        NozzleKind.PRE_ORIFICE: (1.5, 5.0),
        NozzleKind.TURBULENCE_CHAMBER: (1.4, 6.2),
        NozzleKind.AIR_INDUCTION: (2.0, 8.0),
        NozzleKind.HOLLOW_CONE: (3.0, 20.0),
    }
    assert set(WORKING_PRESSURE_PA) == set(in_bar)
    for kind, ends in in_bar.items():
        assert WORKING_PRESSURE_PA[kind] == pytest.approx([bar * BAR for bar in ends])


def test_four_times_the_pressure_gives_twice_the_flow():
    assert flow_at_pressure(flow_l_min=1.2, at_pa=3 * BAR, pressure_pa=12 * BAR) == 2.4
    needed = pressure_for_flow(flow_l_min=2.4, known_flow_l_min=1.2, known_pa=3 * BAR)
    assert needed == pytest.approx(12 * BAR)


def test_a_solution_a_fifth_heavier_than_water_flows_by_its_root_slower():
    """Conversion factor 0.91 of extension tables for 1.2 kg/L (here 1 / 1.2 ^ 0.5)."""
    assert flow_of_solution(water_flow_l_min=1.0, relative_density=1.2) == pytest.approx(
        0.91, abs=5e-3
    )


def test_rate_flow_and_speed_are_one_equation():
    """600 x 0.8 L/min / (10 km/h x 0.5 m) = 96 L/ha: the trade's own form of it."""
    spaced = {"spacing_m": 0.5}
    speed = 10 / 3.6
    assert carrier_from_flow(flow_l_min=0.8, speed_m_s=speed, **spaced) == pytest.approx(96.0)
    assert flow_for_carrier(carrier_l_ha=96.0, speed_m_s=speed, **spaced) == pytest.approx(0.8)
    assert speed_for_carrier(carrier_l_ha=96.0, flow_l_min=0.8, **spaced) == pytest.approx(speed)


def test_a_spray_is_finer_from_the_root_of_twice_its_pressure_on():
    """Half of a doubling: 3 bar x 2 ^ 0.5 = 4.243 bar."""
    assert finer_from(reference_pa=3 * BAR) == pytest.approx(4.2426 * BAR, rel=1e-4)


@pytest.mark.parametrize(
    ("droplets", "bar", "expected"),
    [
        (DropletClass.EXTREMELY_FINE, 12, DropletClass.EXTREMELY_FINE),
        (DropletClass.VERY_FINE, 12, DropletClass.EXTREMELY_FINE),
        (DropletClass.ULTRA_COARSE, 1, DropletClass.ULTRA_COARSE),
        (DropletClass.EXTREMELY_COARSE, 1.5, DropletClass.ULTRA_COARSE),
    ],
)
def test_there_is_no_class_beyond_the_ends_of_the_scale(droplets, bar, expected):
    at = droplets_at_pressure(droplets=droplets, reference_pa=3 * BAR, pressure_pa=bar * BAR)
    assert at is expected


def test_more_than_a_millilitre_over_a_full_tank_is_another_load():
    over, rounding = (
        loads(area_m2=1e4, carrier_l_ha=100.0 + more, tank_l=100.0) for more in (1.1e-3, 0.9e-3)
    )
    assert (over.count, rounding.count) == (2, 1)
    assert loads(area_m2=1e4, carrier_l_ha=1.1e-3, tank_l=100.0).count == 1
    assert loads(area_m2=1e4, carrier_l_ha=0.9e-3, tank_l=100.0).count == 0


def test_a_tank_that_a_millionth_of_a_litre_short_fills_is_full():
    needed = loads(area_m2=1e4, carrier_l_ha=99.9999999, tank_l=100.0)
    assert (needed.full, needed.count) == (1, 1)
