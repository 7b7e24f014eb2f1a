"""Directions across north."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.weather.wind import (
    angle_between,
    component_toward,
    direction_mean,
    eastward_northward,
    speed_from,
    toward,
    yamartino,
)

speeds = st.floats(0, 40)
bearings = st.floats(0, 360)


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
