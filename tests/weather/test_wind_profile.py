"""The wind between heights, surfaces and layerings of the air."""

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from watcher.weather.wind_profile import (
    BLENDING_M,
    GRASS,
    UNCERTAINTY,
    UNCERTAINTY_LAYERED,
    Surface,
    blending_height,
    gust_at_height,
    layer_height,
    psi_heat,
    psi_momentum,
    uncertainty_of,
    wind_at_height,
    wind_factor,
)

speeds = st.floats(0, 40)
heights = st.floats(0.5, 30)
canopies = st.floats(0, 3)
lengths = st.floats(5, 5000) | st.floats(-5000, -1) | st.just(np.inf)


def test_the_profile_is_the_logarithm_of_height_over_roughness() -> None:
    """5 ln(0.667 / 0.0615) / ln(9.667 / 0.0615) = 2.3567, by hand, over a crop of 0.5 m."""
    crop = Surface.of_canopy(0.5)
    found = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=1.0, of=crop, over=crop)
    assert found == pytest.approx(2.3567, abs=6e-4)  # 0.333 for 1/3 is worth 0.0005


@given(speeds, heights, lengths)
def test_a_wind_brought_to_its_own_height_and_surface_is_itself(
    wind: float, z: float, obukhov: float
) -> None:
    assert wind_at_height(wind_m_s=wind, from_m=z, to_m=z, obukhov_m=obukhov) == wind


@given(speeds, heights, heights, st.sampled_from([np.inf, -20.0, 20.0]))
def test_there_and_back_is_the_same_wind(
    wind: float, here: float, there: float, obukhov: float
) -> None:
    away = wind_at_height(wind_m_s=wind, from_m=here, to_m=there, obukhov_m=obukhov)
    back = wind_at_height(wind_m_s=away, from_m=there, to_m=here, obukhov_m=obukhov)
    assert back == pytest.approx(wind, rel=1e-9)


@given(heights, heights, lengths)
def test_wind_grows_with_height(low: float, high: float, obukhov: float) -> None:
    low, high = sorted((low, high))
    wind = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=[low, high], obukhov_m=obukhov)
    assert wind[0] <= wind[1] + 1e-12


@given(heights, canopies, canopies, st.floats(0.3, 1.5), lengths)
def test_in_stable_air_a_lower_boom_never_has_more_wind_than_the_sensor(
    sensor: float, under: float, crop: float, boom: float, obukhov: float
) -> None:
    assume(0 < obukhov < np.inf and sensor > under and crop + boom <= sensor)
    share = wind_factor(
        from_m=sensor,
        to_m=crop + boom,
        of=Surface.of_canopy(under),
        over=Surface.of_canopy(crop),
        obukhov_m=obukhov,
    )
    assert share <= 1.0


@given(st.floats(0.05, 2.5), st.floats(0.01, 0.5), lengths)
def test_a_taller_crop_slows_the_wind_at_its_boom(h: float, more: float, obukhov: float) -> None:
    """Down to L = 15 m. In air yet more stable the boom over the tallest crops gains more by its
    height over their displacement, z/L, than it loses by their roughness."""
    assume(not 0 < obukhov < 15)
    crops = np.array([h, h + more])
    share = wind_factor(
        from_m=10.0, to_m=crops + 0.5, over=Surface.of_canopy(crops), obukhov_m=obukhov
    )
    assert share[1] < share[0]


@given(st.floats(0.05, 2.5), st.floats(-0.05, 0.15), st.floats(1e-4, 0.05))
def test_the_more_stable_the_air_the_less_wind_reaches_the_boom(
    h: float, inverse: float, more: float
) -> None:
    """From L = -20 m on: there z/L comes to -2 at the blending height, as far as was measured."""
    share = wind_factor(
        from_m=10.0,
        to_m=h + 0.5,
        over=Surface.of_canopy(h),
        obukhov_m=1.0 / np.array([inverse or 1e-9, inverse + more or 1e-9]),
    )
    assert share[1] <= share[0] + 1e-12


@given(st.floats(0.05, 2.5))
def test_neutral_air_is_where_stable_and_unstable_meet(h: float) -> None:
    share = wind_factor(
        from_m=10.0,
        to_m=h + 0.5,
        over=Surface.of_canopy(h),
        obukhov_m=[-1e7, np.inf, 1e7],
    )
    assert share == pytest.approx(share[1], rel=1e-4)


@given(st.floats(0.2, 20), lengths)
def test_over_one_surface_the_blending_height_does_not_count(z: float, obukhov: float) -> None:
    share = wind_factor(
        from_m=10.0, to_m=z, obukhov_m=obukhov, blending_m=np.array([5.0, BLENDING_M])
    )
    assert share[0] == pytest.approx(share[1], rel=1e-9)


@pytest.mark.parametrize("length", [1.0, 3.0, 5.0])
def test_below_five_metres_the_profile_stops(length: float) -> None:
    held, found = wind_factor(from_m=10.0, to_m=1.0, obukhov_m=[5.0, length])
    assert found == held


@given(st.floats(-2.0, 20.0))
def test_the_stability_functions_take_from_stable_air_and_give_to_unstable(zeta: float) -> None:
    for psi in (psi_momentum, psi_heat):
        assert np.sign(psi(zeta)) == -np.sign(zeta) or abs(psi(zeta)) < 1e-9


@pytest.mark.parametrize("zeta", [-1.5, -0.5, -0.1])
def test_the_unstable_profiles_slopes_are_the_measured_ones(zeta: float) -> None:
    """Businger-Dyer: 1 - z/L dpsi/d(z/L) = (1 - 16 z/L)^(-1/4), of heat ^(-1/2); by differences."""
    step = 1e-5
    for psi, power in ((psi_momentum, -0.25), (psi_heat, -0.5)):
        slope = (psi(zeta + step) - psi(zeta - step)) / (2 * step)
        assert 1.0 - zeta * slope == pytest.approx((1.0 - 16.0 * zeta) ** power, rel=1e-6)


@pytest.mark.parametrize("height", [0.0, -1.0, 0.119])
def test_there_is_no_profile_inside_the_canopy(height: float) -> None:
    assert np.isnan(wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=height))
    assert np.isnan(wind_at_height(wind_m_s=5.0, from_m=height, to_m=2.0))


def test_a_mast_may_stand_lower_than_the_crop_beside_it() -> None:
    """A 2 m mast in grass beside maize of 2.4 m: 0.494 of its wind at the boom (air.md)."""
    share = wind_factor(from_m=2.0, to_m=2.9, over=Surface.of_canopy(2.4))
    assert share == pytest.approx(0.494, abs=5e-4)


def test_bare_soil_counts_as_two_centimetres() -> None:
    soils = Surface.of_canopy([0.0, 0.02])
    bare, seedlings = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=0.5, over=soils)
    assert bare == seedlings < 5.0


@pytest.mark.parametrize(
    "wrong",
    [
        {"wind_m_s": -0.1},
        {"over": Surface.of_canopy(-0.1)},
        {"of": Surface.of_canopy(3.1)},
        {"over": Surface.of_roughness(0.0)},
        {"obukhov_m": 0.0},
    ],
)
def test_an_impossible_argument_has_no_wind(wrong: dict[str, float]) -> None:
    usual = {"wind_m_s": 5.0, "from_m": 10.0, "to_m": 2.0}
    assert np.isnan(wind_at_height(**usual | wrong))


def test_the_layer_grows_with_the_field_between_five_and_forty_metres() -> None:
    """100 m of a crop of 0.9 and 2.4 m: 7.8 and 10.3 m (air.md, by the form of Wood 1982)."""
    crops = Surface.of_canopy([0.9, 2.4])
    assert layer_height(fetch_m=100.0, over=crops) == pytest.approx([7.8, 10.3], abs=0.05)
    heights = layer_height(fetch_m=np.array([1.0, 100.0, 400.0, 1e4]), over=Surface.of_canopy(0.9))
    assert heights[0] == 5.0
    assert heights[-1] == BLENDING_M
    assert np.all(np.diff(heights) > 0)


def test_winds_blend_lower_in_stable_air_and_never_below_the_boom() -> None:
    found = blending_height(layer_m=40.0, top_m=5.4, obukhov_m=[np.inf, -10.0, 10.0, 1.0])
    assert found.tolist() == [40.0, 40.0, 20.0, 10.0]
    assert blending_height(layer_m=5.0, top_m=5.4, obukhov_m=5.0) == 5.4


def test_the_doubt_is_larger_where_the_air_is_layered_or_nobody_knows() -> None:
    doubts = uncertainty_of([-20.0, np.inf, 20.0, np.nan])
    mixed, layered = UNCERTAINTY, UNCERTAINTY_LAYERED
    assert doubts.tolist() == [mixed, mixed, layered, layered]


@given(speeds, speeds, speeds)
def test_a_gust_keeps_its_excess_over_the_mean(wind: float, excess: float, there: float) -> None:
    gust = gust_at_height(wind_m_s=wind, gust_m_s=wind + excess, there_m_s=there)
    assert gust - there == pytest.approx(excess, abs=1e-9)


def test_a_gust_reported_below_the_mean_counts_as_the_mean() -> None:
    assert gust_at_height(wind_m_s=5.0, gust_m_s=4.0, there_m_s=3.0) == 3.0


def test_grass_is_the_default_surface() -> None:
    assert wind_factor(from_m=3.0, to_m=1.0) == wind_factor(
        from_m=3.0, to_m=1.0, of=GRASS, over=Surface.of_canopy(0.12)
    )


def test_no_layering_of_length_nought_is_known_and_a_short_one_is_held() -> None:
    known = [wind_factor(from_m=10.0, to_m=2.0, obukhov_m=length) for length in (1.0, 0.5, 30.0)]
    assert np.isfinite(known).all()
    assert np.isnan(wind_factor(from_m=10.0, to_m=2.0, obukhov_m=0.0))


def test_the_published_heights_and_shares_are_the_ones_used() -> None:
    assert (BLENDING_M, UNCERTAINTY, UNCERTAINTY_LAYERED) == (40.0, 0.2, 0.3)


@pytest.mark.parametrize("psi", [psi_momentum, psi_heat])
def test_beyond_what_was_measured_in_unstable_air_the_functions_are_held(psi: Any) -> None:
    """Measured to z/L = -2 (Paulson 1970)."""
    held, at, before = psi([-3.0, -2.0, -1.9])
    assert held == at > before


@pytest.mark.parametrize("zeta", [0.1, 1.0, 4.0])
def test_the_stable_profiles_slopes_are_those_of_beljaars_and_holtslag(zeta: float) -> None:
    """Their gradients with a = 1, b = 2/3, c = 5, d = 0.35 (1991, equations 28 and 32, from
    memory): phi_m = 1 + z (a + b e^-dz (1 + c - dz)), of heat with a sqrt(1 + 2/3 a z) for a."""
    step = 1e-5
    bent = 2 / 3 * np.exp(-0.35 * zeta) * (1.0 + 5.0 - 0.35 * zeta)
    for psi, straight in ((psi_momentum, 1.0), (psi_heat, np.sqrt(1.0 + 2 / 3 * zeta))):
        slope = (psi(zeta + step) - psi(zeta - step)) / (2 * step)
        assert 1.0 - zeta * slope == pytest.approx(1.0 + zeta * (straight + bent), rel=1e-6)


def test_the_tallest_closed_stand_is_three_metres() -> None:
    assert Surface.of_canopy(3.0).top_m == 3.0
    assert np.isnan(Surface.of_canopy([3.01, -0.01]).top_m).all()


def test_a_layer_grows_over_the_rougher_of_two_surfaces() -> None:
    """0.28 z0 (x / z0)^0.8 of 200 m, z0 = 0.1107 for a crop of 0.9 m, on its displacement."""
    crop, soil = Surface.of_canopy(0.9), Surface.of_canopy(0.0)
    grown = 0.28 * 0.1107 * (200.0 / 0.1107) ** 0.8
    assert layer_height(fetch_m=200.0, over=crop, beside=soil) == pytest.approx(0.6 + grown)
    assert layer_height(fetch_m=200.0, over=soil, beside=crop) == pytest.approx(
        2 / 3 * 0.02 + grown
    )


def test_without_more_height_stable_air_holds_only_what_lies_lower() -> None:
    """Below the sensor never more wind than at it, above it as much as the profile has."""
    lower, higher = wind_factor(from_m=2.0, to_m=[1.9, 3.0], obukhov_m=20.0)
    assert lower < 1.0 < higher
