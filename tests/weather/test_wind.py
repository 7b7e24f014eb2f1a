"""Wind between heights, and directions across north."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.weather.wind import (
    angle_between,
    component_toward,
    direction_mean,
    eastward_northward,
    gust_at_height,
    speed_from,
    toward,
    wind_at_height,
    yamartino,
)

speeds = st.floats(0, 40)
heights = st.floats(0.5, 50)
bearings = st.floats(0, 360)


def test_the_profile_is_the_logarithm_of_height_over_roughness() -> None:
    """5 ln(0.667 / 0.0615) / ln(9.667 / 0.0615) = 2.3567, by hand, over a crop of 0.5 m."""
    found = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=1.0, canopy_m=0.5)
    assert found == pytest.approx(2.3567, abs=6e-4)  # 0.333 for 1/3 is worth 0.0005


@given(speeds, heights)
def test_a_wind_brought_to_its_own_height_is_itself(wind: float, z: float) -> None:
    assert wind_at_height(wind_m_s=wind, from_m=z, to_m=z) == wind
    assert wind_at_height(wind_m_s=wind, from_m=z, to_m=z, obukhov_m=15.0) == wind


@given(speeds, heights, heights, st.sampled_from([None, -20.0, 20.0]))
def test_there_and_back_is_the_same_wind(
    wind: float, here: float, there: float, obukhov: float | None
) -> None:
    away = wind_at_height(wind_m_s=wind, from_m=here, to_m=there, obukhov_m=obukhov)
    back = wind_at_height(wind_m_s=away, from_m=there, to_m=here, obukhov_m=obukhov)
    assert back == pytest.approx(wind, rel=1e-9)


@given(heights, heights)
def test_wind_grows_with_height(low: float, high: float) -> None:
    low, high = sorted((low, high))
    wind = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=[low, high])
    assert wind[0] <= wind[1]


def test_stable_air_has_less_wind_near_the_ground_and_unstable_air_more() -> None:
    stable, neutral, unstable = wind_at_height(
        wind_m_s=5.0, from_m=10.0, to_m=1.0, obukhov_m=[20.0, np.inf, -20.0]
    )
    assert stable < neutral < unstable
    assert neutral == wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=1.0)


def test_the_stable_profile_is_logarithm_and_line() -> None:
    """Businger-Dyer, stable side: ln(z/z0) + 5 (z - z0)/L, by hand."""
    d, z0, length = 0.08, 0.01476, 50.0
    shape = [np.log((z - d) / z0) + 5 * (z - d - z0) / length for z in (2.0, 10.0)]
    found = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=2.0, obukhov_m=length)
    assert found == pytest.approx(5.0 * shape[0] / shape[1], rel=1e-9)


def test_beyond_the_measured_range_stability_counts_no_further() -> None:
    """L = 1 m: z/L held at 1 at both heights, -5 each; by hand."""
    d, z0 = 0.08, 0.01476
    shape = [np.log((z - d) / z0) + 5 * (1 - z0) for z in (2.0, 10.0)]
    found = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=2.0, obukhov_m=1.0)
    assert found == pytest.approx(5.0 * shape[0] / shape[1], rel=1e-9)


def test_the_unstable_profiles_slope_is_the_measured_one() -> None:
    """Businger-Dyer, unstable side: (z / u*) k du/dz = (1 - 16 z/L)^(-1/4), by differences."""
    z, length, d, z0 = 3.0, -30.0, 0.08, 0.01476
    step = 1e-4
    heights = np.array([z0 * np.e + d, z - step + d, z + step + d])
    wind = wind_at_height(wind_m_s=1.0, from_m=10.0, to_m=heights, obukhov_m=length)
    # u* / k from the wind at z0 e, where the profile is 1 less two nearly equal corrections.
    scale = wind[0] / (1.0 - 16.0 / 4.0 * z0 * (np.e - 1.0) / -length)
    slope = (wind[2] - wind[1]) / (2 * step) * z / scale
    assert slope == pytest.approx((1 - 16 * z / length) ** -0.25, rel=2e-3)


@pytest.mark.parametrize("height", [0.0, -1.0, 0.119])
def test_there_is_no_profile_inside_the_canopy(height: float) -> None:
    assert np.isnan(wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=height))
    assert np.isnan(wind_at_height(wind_m_s=5.0, from_m=height, to_m=2.0))


def test_bare_soil_counts_as_two_centimetres() -> None:
    bare, seedlings = wind_at_height(wind_m_s=5.0, from_m=10.0, to_m=0.5, canopy_m=[0.0, 0.02])
    assert bare == seedlings < 5.0


@pytest.mark.parametrize(
    "wrong", [{"wind_m_s": -0.1}, {"canopy_m": -0.1}, {"canopy_m": 3.1}, {"obukhov_m": 0.0}]
)
def test_an_impossible_argument_has_no_wind(wrong: dict[str, float]) -> None:
    usual = {"wind_m_s": 5.0, "from_m": 10.0, "to_m": 2.0}
    assert np.isnan(wind_at_height(**usual | wrong))


@given(speeds, speeds, heights)
def test_a_gust_is_never_below_the_mean_at_any_height(
    wind: float, excess: float, to_m: float
) -> None:
    gust = gust_at_height(wind_m_s=wind, gust_m_s=wind + excess, from_m=10.0, to_m=to_m)
    mean = wind_at_height(wind_m_s=wind, from_m=10.0, to_m=to_m)
    assert gust - mean == pytest.approx(excess, abs=1e-9)


def test_a_gust_reported_below_the_mean_counts_as_the_mean() -> None:
    assert gust_at_height(wind_m_s=5.0, gust_m_s=4.0, from_m=10.0, to_m=10.0) == 5.0


@pytest.mark.parametrize(
    ("a", "b", "angle"),
    [
        (359, 1, 2),
        (1, 359, 2),
        (0, 360, 0),
        (0, 359, 1),
        (90, 270, 180),
        (10, 350, 20),
        (45, 90, 45),
    ],
)
def test_the_angle_between_is_right_across_north(a: float, b: float, angle: float) -> None:
    assert angle_between(a, b) == pytest.approx(angle)


@pytest.mark.parametrize(("from_deg", "to_deg"), [(0, 180), (180, 0), (270, 90), (359, 179)])
def test_the_wind_blows_opposite_to_where_it_comes_from(from_deg: float, to_deg: float) -> None:
    assert toward(from_deg) == pytest.approx(to_deg)


@pytest.mark.parametrize(
    ("bearing", "expected"), [(120.0, 8.6603), (270.0, -10.0), (90.0, 10.0), (0.0, 0.0)]
)
def test_the_part_of_a_west_wind_towards_a_bearing(bearing: float, expected: float) -> None:
    """10 from 270 degrees, by hand: 10 cos 30 = 8.6603."""
    part = component_toward(wind_m_s=10.0, from_deg=270.0, bearing_deg=bearing)
    assert part == pytest.approx(expected, abs=5e-5)


def test_a_north_wind_blows_southward() -> None:
    east, north = eastward_northward(wind_m_s=3.0, from_deg=0.0)
    assert (float(east), float(north)) == pytest.approx((0.0, -3.0))


@given(st.floats(0.5, 40), bearings)
def test_components_lead_back_to_wind_and_direction(wind: float, from_deg: float) -> None:
    east, north = eastward_northward(wind_m_s=wind, from_deg=from_deg)
    speed, back = speed_from(east_m_s=east, north_m_s=north, calm_m_s=0.4)
    assert speed == pytest.approx(wind)
    assert angle_between(back, from_deg) < 1e-6


def test_a_calm_has_no_direction() -> None:
    _, from_deg = speed_from(east_m_s=[0.0, 0.3, 0.6], north_m_s=0.0)
    assert np.isnan(from_deg).tolist() == [True, True, False]


def test_north_is_between_350_and_10_degrees() -> None:
    assert angle_between(direction_mean([350.0, 10.0]), 0.0) < 1e-9


def test_stronger_winds_weigh_more_in_the_vector_mean() -> None:
    """3 m/s from 0 and 4 m/s from 90 degrees: 3-4-5 triangle, 53.130 degrees."""
    assert direction_mean([0.0, 90.0], wind_m_s=[3.0, 4.0]) == pytest.approx(53.1301, abs=1e-4)
    assert direction_mean([0.0, 90.0]) == pytest.approx(45.0)


def test_opposite_directions_have_no_mean() -> None:
    assert np.isnan(direction_mean([0.0, 180.0]))
    assert np.isnan(direction_mean([90.0, 180.0, 270.0, 0.0]))


@pytest.mark.parametrize("mean", [direction_mean, yamartino])
def test_too_few_of_the_directions_give_no_mean(mean: object) -> None:
    assert callable(mean)
    assert np.isnan(mean([10.0, np.nan, np.nan, 20.0]))
    assert not np.isnan(mean([10.0, np.nan, 15.0, 20.0]))
    assert np.isnan(mean([]))


def test_calm_samples_have_no_say_in_the_direction() -> None:
    wind = [5.0, 5.0, 5.0, 0.1]
    assert direction_mean([90.0, 90.0, 90.0, 270.0], wind_m_s=wind) == pytest.approx(90.0)
    assert np.isnan(direction_mean([90.0, 90.0], wind_m_s=[0.1, 0.2]))


@given(st.lists(bearings, min_size=2, max_size=30), bearings)
def test_turning_every_direction_turns_the_mean_and_keeps_the_spread(
    directions: list[float], turn: float
) -> None:
    turned = (np.array(directions) + turn) % 360.0
    assert yamartino(turned) == pytest.approx(yamartino(directions), abs=2e-3)
    mean = direction_mean(directions)
    if yamartino(directions) < 90:
        assert angle_between(direction_mean(turned), mean + turn) < 1e-3


def test_statistics_run_along_the_axis_asked_for() -> None:
    grid = np.array([[350.0, 80.0], [10.0, 100.0]])
    assert direction_mean(grid, axis=0)[1] == pytest.approx(90.0)
    assert yamartino(grid, axis=0) == pytest.approx([10.0081, 10.0081], abs=1e-4)
