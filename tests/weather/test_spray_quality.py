import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watcher.weather.droplets import fly
from watcher.weather.spray_quality import SprayDrift, vanished_share, volume_share_below

ALL = np.arange(8)
FINE, MEDIUM, COARSE = 2, 3, 4
DRY = {"wind_m_s": 4.0, "delta_t_k": 12.0, "boom_height_m": 0.5}
FEW = settings(max_examples=25, deadline=None)


def test_what_dries_up_is_the_volume_of_the_drops_that_never_land():
    sizes = np.linspace(10e-6, 60e-6, 26)
    gone = sizes[~fly(diameter_m=sizes, **DRY).landed].max()
    low, high = (
        volume_share_below(droplets=FINE, diameter_m=size) for size in (gone - 4e-6, gone + 4e-6)
    )
    assert low <= vanished_share(droplets=FINE, **DRY) <= high


def test_in_saturated_air_nothing_dries_up():
    assert np.all(vanished_share(droplets=ALL, **(DRY | {"delta_t_k": 0.0})) == 0.0)


@FEW
@given(
    st.sampled_from(["wind_m_s", "boom_height_m", "delta_t_k"]),
    st.lists(st.floats(0.3, 14.0), min_size=2, max_size=2),
)
def test_a_higher_boom_or_drier_air_never_lets_less_dry_up(what, values):
    less, more = vanished_share(droplets=COARSE, **(DRY | {what: np.array(sorted(values))}))
    assert more >= less


@FEW
@given(st.floats(0, 8), st.floats(0, 15), st.floats(0.2, 1.5))
def test_of_a_coarser_spray_less_dries_up_and_never_more_than_its_drops_under_60_um(
    wind, delta_t, boom
):
    gone = vanished_share(droplets=ALL, wind_m_s=wind, delta_t_k=delta_t, boom_height_m=boom)
    assert np.all(np.diff(gone) <= 0)
    assert np.all(gone <= volume_share_below(droplets=ALL, diameter_m=60e-6))


def test_a_tested_reduction_takes_the_place_of_the_class_and_a_retardant_multiplies_it():
    tested = SprayDrift.of(droplets=np.array([FINE, COARSE]), reduction=0.75)
    assert tested.expected.tolist() == tested.upper.tolist() == [0.25, 0.25]
    assert tested.times([1.0, 0.5]).upper.tolist() == [0.25, 0.125]
    mixed = SprayDrift.of(droplets=np.array([FINE, FINE]), reduction=np.array([np.nan, 0.5]))
    assert mixed.expected[0] > 1.0 > mixed.expected[1]


@pytest.mark.parametrize("missing", ["wind_m_s", "delta_t_k", "boom_height_m"])
def test_a_missing_value_gives_an_unknown_share(missing):
    assert np.isnan(vanished_share(droplets=FINE, **(DRY | {missing: np.nan})))


# Bounds of the classes' medians as extension services print them: from memory but for 235 um.
BOUNDS_UM = np.array([40.0, 60.0, 137.0, 235.0, 340.0, 403.0, 502.0, 665.0, 881.0])


def share_under(size_um, median_um):
    """Rosin-Rammler through the median, exponent 2.43: a tenth of the volume under 0.46 of it."""
    return 1.0 - 0.5 ** ((size_um / median_um) ** 2.43)


def test_a_class_drifts_as_its_drops_under_150_um_and_at_most_as_its_finest_under_200():
    medians = np.sqrt(BOUNDS_UM[:-1] * BOUNDS_UM[1:])
    found = SprayDrift.of(droplets=ALL)
    expected = share_under(150.0, medians) / share_under(150.0, 235.0)
    finest = share_under(200.0, BOUNDS_UM[:-1]) / share_under(200.0, 235.0)
    assert found.expected == pytest.approx(expected)
    assert found.upper == pytest.approx(np.maximum(finest, expected))
    assert found.finer.tolist() == [True] * 3 + [False] * 5
    assert share_under(0.46, 1.0) == pytest.approx(0.1, abs=0.002)


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_a_tested_reduction_may_be_none_or_all(share):
    assert SprayDrift.of(droplets=FINE, reduction=share).expected == 1.0 - share


def test_over_a_calm_in_very_dry_air_all_drops_to_60_um_may_be_gone():
    gone = vanished_share(droplets=FINE, wind_m_s=0.3, delta_t_k=40.0, boom_height_m=3.0)
    assert gone == pytest.approx(share_under(60.0, np.sqrt(137.0 * 235.0)))
