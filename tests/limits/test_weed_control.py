"""Loss of weed control: anchors are common practice, no source."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.farm.control_loss import LossEstimate, LossOf
from watcher.farm.models import Adjuvant, DropletClass, Origin, Weeds
from watcher.farm.products import ModeOfAction
from watcher.limits.weed_control import RETARDANT_START, control_loss, retardant_left

GAL_PER_ACRE = 9.353956
CLASSES = st.sampled_from(DropletClass)
WEEDS = st.sampled_from(Weeds)
RATES = st.floats(10, 500)


@pytest.mark.parametrize(
    ("gal_acre", "weeds", "low", "high"),
    [
        (15, Weeds.GRASSES, 5, 8),
        (15, Weeds.BROADLEAVES, 6, 7),
        (15, Weeds.MIXED, 6, 8),
        (7, Weeds.GRASSES, 17, 23),
        (7, Weeds.BROADLEAVES, 14, 22),
        (7, Weeds.MIXED, 17, 23),
        (5, Weeds.MIXED, 17, 23),
        (20, Weeds.MIXED, 6, 8),
    ],
)
def test_coarse_drops_lose_what_common_practice_says(gal_acre, weeds, low, high):
    loss = control_loss(DropletClass.COARSE, gal_acre * GAL_PER_ACRE, weeds)
    assert loss[:2] == pytest.approx((low, high))


@pytest.mark.parametrize(
    ("mode", "enough", "little"),
    [
        (ModeOfAction.CONTACT_HERBICIDE, (0, 8), (0, 25)),
        (ModeOfAction.RESIDUAL_HERBICIDE, (0, 2), (0, 3)),
        (ModeOfAction.CONTACT_INSECTICIDE, (2, 12), (8, 30)),
        (ModeOfAction.SYSTEMIC_INSECTICIDE, (0, 5), (2, 10)),
        (ModeOfAction.PROTECTANT_FUNGICIDE, (2, 10), (10, 30)),
        (ModeOfAction.SYSTEMIC_FUNGICIDE, (0, 3), (0, 10)),
        (ModeOfAction.TRANSLOCATED_HERBICIDE, (0, 8), (0, 20)),
    ],
)
def test_what_coarse_drops_lose_hangs_on_how_the_product_works(mode, enough, little):
    """Estimates of the project, by what is sprayed: no source."""
    for gal_acre, expected in ((15, enough), (7, little)):
        rate = gal_acre * GAL_PER_ACRE
        loss = control_loss(DropletClass.COARSE, rate, Weeds.GRASSES, {mode})
        assert loss[:2] == pytest.approx(expected)


@pytest.mark.parametrize("droplets", [DropletClass.FINE, DropletClass.MEDIUM])
def test_fine_and_medium_drops_with_enough_water_lose_nothing(droplets):
    assert control_loss(droplets, 15 * GAL_PER_ACRE, Weeds.MIXED)[:2] == pytest.approx((0, 0))


def test_medium_drops_with_little_water_lose_some():
    low, high, _ = control_loss(DropletClass.MEDIUM, 7 * GAL_PER_ACRE, Weeds.MIXED)
    assert 0 < low < high < 23


@given(CLASSES, RATES, RATES, WEEDS)
def test_more_water_never_loses_more(droplets, one, other, weeds):
    less, more = sorted([one, other])
    with_less = control_loss(droplets, less, weeds)
    with_more = control_loss(droplets, more, weeds)
    assert with_more[0] <= with_less[0] + 1e-9
    assert with_more[1] <= with_less[1] + 1e-9


@given(CLASSES, CLASSES, RATES, WEEDS)
def test_coarser_drops_never_lose_less(one, other, rate, weeds):
    finer, coarser = sorted([one, other])
    with_finer, with_coarser = (control_loss(d, rate, weeds) for d in (finer, coarser))
    assert with_coarser[0] >= with_finer[0] - 1e-9
    assert with_coarser[1] >= with_finer[1] - 1e-9


@given(CLASSES, RATES, WEEDS)
def test_the_low_estimate_is_not_above_the_high_one(droplets, rate, weeds):
    low, high, _ = control_loss(droplets, rate, weeds)
    assert 0 <= low <= high <= 100


@pytest.mark.parametrize("droplets", DropletClass)
def test_an_unknown_rate_is_an_unknown_loss(droplets):
    assert all(math.isnan(x) for x in control_loss(droplets, math.nan, Weeds.MIXED)[:2])


@pytest.mark.parametrize(("minutes", "left"), [(0, 1), (30, 0.5), (60, 0), (90, 0)])
def test_polyacrylamide_loses_its_effect_within_an_hour_of_recirculation(minutes, left):
    assert retardant_left(Adjuvant.POLYACRYLAMIDE, minutes) == pytest.approx(left)


def test_guar_keeps_its_effect():
    assert retardant_left(Adjuvant.GUAR, 240) == 1.0


def test_without_a_retardant_there_is_no_effect():
    assert retardant_left(Adjuvant.NONE, 0) == 0.0


def test_an_unknown_recirculation_leaves_an_unknown_effect():
    assert math.isnan(retardant_left(Adjuvant.POLYACRYLAMIDE, math.nan))


@pytest.mark.parametrize(
    ("mode", "much_water", "little_water"),
    [
        (ModeOfAction.RESIDUAL_HERBICIDE, 2, 3),
        (ModeOfAction.PROTECTANT_FUNGICIDE, 10, 30),
        (ModeOfAction.TRANSLOCATED_HERBICIDE, 8, 20),
        (ModeOfAction.OTHER, 8, 23),
        (None, 8, 23),
    ],
)
def test_coarse_drops_by_what_the_product_is(mode, much_water, little_water):
    for gal_acre, most in ((15, much_water), (7, little_water)):
        loss = control_loss(DropletClass.COARSE, gal_acre * GAL_PER_ACRE, Weeds.MIXED, [mode])
        assert loss[1] == pytest.approx(most)


@given(CLASSES, RATES, WEEDS, st.lists(st.sampled_from(ModeOfAction), min_size=1), st.data())
def test_another_product_in_the_tank_never_loses_less(droplets, rate, weeds, modes, data):
    more = data.draw(st.sampled_from(ModeOfAction))
    alone, both = (control_loss(droplets, rate, weeds, m) for m in (modes, [*modes, more]))
    assert both[0] >= alone[0]
    assert both[1] >= alone[1]


OWN = {
    LossOf.CONTACT_HERBICIDE: LossEstimate.model_validate(
        {"much_water": ["1 %", "3 %"], "little_water": ["4 %", "50 %"]}
    )
}


def test_the_growers_own_estimate_takes_the_place_of_ours_and_is_called_so():
    contact = [ModeOfAction.CONTACT_HERBICIDE]
    for gal_acre, low, high in ((15, 1, 3), (7, 4, 50)):
        rate = gal_acre * GAL_PER_ACRE
        loss = control_loss(DropletClass.COARSE, rate, Weeds.MIXED, contact, OWN)
        assert loss[:2] == pytest.approx((low, high))
        assert loss.origin is Origin.OWN
        assert (
            control_loss(DropletClass.COARSE, rate, Weeds.MIXED, contact).origin is Origin.DEFAULT
        )


def test_the_origin_is_that_of_the_product_that_loses_most():
    tank = [ModeOfAction.CONTACT_HERBICIDE, ModeOfAction.PROTECTANT_FUNGICIDE]
    much, little = (
        control_loss(DropletClass.COARSE, r * GAL_PER_ACRE, Weeds.MIXED, tank, OWN) for r in (15, 7)
    )
    assert (much.high_pct, much.origin) == (pytest.approx(10.0), Origin.DEFAULT)
    assert (little.high_pct, little.origin) == (pytest.approx(50.0), Origin.OWN)


def test_every_mode_of_action_has_an_estimate_that_can_be_changed():
    for mode in [None, *ModeOfAction]:
        for weeds in Weeds:
            own = dict.fromkeys(LossOf, OWN[LossOf.CONTACT_HERBICIDE])
            loss = control_loss(DropletClass.COARSE, 7 * GAL_PER_ACRE, weeds, [mode], own)
            assert loss == (pytest.approx(4), pytest.approx(50), Origin.OWN)


@pytest.mark.parametrize(
    ("droplets", "share"),
    [
        (DropletClass.EXTREMELY_FINE, 0.2),
        (DropletClass.VERY_FINE, 0.2),
        (DropletClass.FINE, 0.2),
        (DropletClass.MEDIUM, 0.4),
        (DropletClass.COARSE, 1.0),
        (DropletClass.VERY_COARSE, 1.25),
        (DropletClass.EXTREMELY_COARSE, 1.5),
        (DropletClass.ULTRA_COARSE, 1.75),
    ],
)
def test_with_little_water_each_class_loses_its_share_of_what_coarse_drops_lose(droplets, share):
    """Choices of ours, no source; coarse drops lose 17 to 23 % of the grasses."""
    loss = control_loss(droplets, 7 * GAL_PER_ACRE, Weeds.GRASSES)
    assert loss[:2] == pytest.approx((17 * share, 23 * share))


def test_translocated_herbicides_lose_less_of_the_broadleaves():
    mode = {ModeOfAction.TRANSLOCATED_HERBICIDE}
    for gal_acre, most in ((15, 4), (11, 7), (7, 10)):
        loss = control_loss(DropletClass.COARSE, gal_acre * GAL_PER_ACRE, Weeds.BROADLEAVES, mode)
        assert loss[:2] == pytest.approx((0, most))


def test_a_retardant_is_started_at_a_third_to_half_of_its_rate():
    """Common practice, no source."""
    assert pytest.approx((1 / 3, 1 / 2)) == RETARDANT_START
