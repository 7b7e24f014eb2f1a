import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from watcher.weather import droplets
from watcher.weather.droplets import fly, lifetime_s, terminal_velocity
from watcher.weather.wind_profile import Surface, wind_at_height

CANOPY_M = 0.12
CROP = Surface.of_canopy(CANOPY_M)
SIZES = st.floats(10e-6, 2e-3)


def reference_flight(diameter_m, wind_m_s, delta_t_k, boom_height_m, jet_m_s=20.0):
    """Solve the same equations with an adaptive stiff solver. Distance m, height m, time s."""

    def rates(time, state):
        _, height, along, up = state
        area = max(diameter_m**2 - 80e-12 * delta_t_k * time, 1e-18)
        wind = wind_at_height(
            wind_m_s=wind_m_s,
            from_m=boom_height_m + CANOPY_M,
            to_m=max(height, 0.0) + CANOPY_M,
            of=CROP,
            over=CROP,
        )
        slip, diameter = np.hypot(along - wind, up), np.sqrt(area)
        # Drag as a force on a sphere, written apart from the module's relaxation times.
        drag = droplets._drag_factor(np.asarray(slip), np.asarray(diameter))
        per_mass = 3 * np.pi * 1.81e-5 * diameter * drag / (998.2 * np.pi / 6 * diameter**3)
        weight = 9.80665 * (1 - 1.204 / 998.2)
        return [along, up, float((wind - along) * per_mass), float(-weight - up * per_mass)]

    def on_the_ground(_, state):
        return state[1]

    on_the_ground.terminal = True
    life = diameter_m**2 / (80e-12 * delta_t_k) if delta_t_k else 1e4
    solved = solve_ivp(
        rates,
        (0.0, life * (1 - 1e-9)),
        [0.0, boom_height_m, 0.0, -jet_m_s],
        method="LSODA",
        rtol=1e-7,
        atol=1e-9,
        events=on_the_ground,
    )
    return solved.y[0, -1], max(solved.y[1, -1], 0.0), solved.t[-1]


@pytest.mark.parametrize("diameter_um", [10, 30, 50, 80, 100, 150, 200, 300, 500, 1000, 2000])
@pytest.mark.parametrize(("delta_t", "boom_m"), [(0.0, 0.5), (6.0, 0.5), (12.0, 1.0)])
def test_a_flight_agrees_with_an_adaptive_stiff_solver(diameter_um, delta_t, boom_m):
    case = {"diameter_m": diameter_um * 1e-6, "wind_m_s": 3.0, "delta_t_k": delta_t}
    distance, height, time = reference_flight(boom_height_m=boom_m, **case)
    ours = fly(boom_height_m=boom_m, canopy_m=CANOPY_M, **case)
    assert ours.distance_m == pytest.approx(distance, rel=0.005)
    assert ours.height_m == pytest.approx(height, abs=0.001)
    assert ours.time_s == pytest.approx(time, rel=0.005)
    assert ours.landed == (height < 1e-6)


def test_all_sizes_and_weathers_at_once_are_the_same_as_one_by_one():
    sizes, wind = np.array([50e-6, 150e-6, 400e-6]), np.array([[1.0], [4.0]])
    together = fly(diameter_m=sizes, wind_m_s=wind, delta_t_k=5.0, boom_height_m=0.6)
    assert together.distance_m.shape == (2, 3)
    for i, j in np.ndindex(2, 3):
        alone = fly(diameter_m=sizes[j], wind_m_s=wind[i, 0], delta_t_k=5.0, boom_height_m=0.6)
        assert together.distance_m[i, j] == pytest.approx(float(alone.distance_m))


@given(SIZES, SIZES)
def test_a_larger_drop_falls_faster(one, other):
    small, large = sorted([one, other])
    assert terminal_velocity(diameter_m=small) <= terminal_velocity(diameter_m=large)


@given(st.floats(10e-6, 30e-6))
def test_a_fine_drop_falls_by_stokes_law(diameter):
    stokes = (998.2 - 1.204) * 9.80665 * diameter**2 / (18 * 1.81e-5)
    assert terminal_velocity(diameter_m=diameter) == pytest.approx(stokes, rel=0.03)


def test_a_drop_that_evaporates_on_the_way_never_lands():
    flight = fly(diameter_m=20e-6, wind_m_s=3.0, delta_t_k=6.0, boom_height_m=1.0)
    assert not flight.landed
    assert flight.height_m > 0
    assert flight.time_s == pytest.approx(float(lifetime_s(diameter_m=20e-6, delta_t_k=6.0)))


@settings(max_examples=25, deadline=None)
@given(st.floats(40e-6, 1e-3), st.floats(0.1, 10), st.floats(0.1, 10))
def test_more_wind_takes_a_drop_further(diameter, one, other):
    near, far = (
        fly(diameter_m=diameter, wind_m_s=w, delta_t_k=2.0, boom_height_m=0.5).distance_m
        for w in sorted([one, other])
    )
    assert near <= far * (1 + 1e-9)


@pytest.mark.parametrize(
    "missing", ["diameter_m", "wind_m_s", "delta_t_k", "boom_height_m", "canopy_m", "jet_m_s"]
)
def test_a_missing_value_gives_an_unknown_flight(missing):
    case = {
        "diameter_m": 1e-4,
        "wind_m_s": 3.0,
        "delta_t_k": 5.0,
        "boom_height_m": 0.5,
        "canopy_m": 0.12,
        "jet_m_s": 20.0,
    }
    flight = fly(**(case | {missing: np.nan}))
    assert np.isnan(flight.distance_m)
    assert not flight.landed


@pytest.mark.parametrize(
    ("diameter_um", "delta_t", "seconds"), [(100, 5.0, 25.0), (50, 10.0, 3.125), (200, 2.0, 250.0)]
)
def test_a_drop_lasts_by_amsdens_law(diameter_um, delta_t, seconds):
    """d^2 / (80 x Delta T), d in um, by hand (Amsden 1962)."""
    lasts = lifetime_s(diameter_m=diameter_um * 1e-6, delta_t_k=delta_t)
    assert lasts == pytest.approx(seconds)


@pytest.mark.parametrize("delta_t", [0.0, -1.0])
def test_in_saturated_air_a_drop_lasts_for_ever(delta_t):
    assert np.isinf(lifetime_s(diameter_m=1e-4, delta_t_k=delta_t))


def test_what_is_not_said_is_a_flat_fan_over_short_grass():
    """20 m/s (from memory) over 12 cm of grass (FAO-56)."""
    case = {"diameter_m": 400e-6, "wind_m_s": 4.0, "delta_t_k": 5.0, "boom_height_m": 0.5}
    plain = fly(**case)
    assert plain.distance_m == fly(**case, canopy_m=0.12, jet_m_s=20.0).distance_m
