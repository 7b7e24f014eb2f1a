import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.farm.models import DropletClass, Sprayer
from watcher.limits.application import (
    droplets_at_pressure,
    loads,
    mix_for_load,
    nozzle_size,
    planned_duration,
    size_for_flow,
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
