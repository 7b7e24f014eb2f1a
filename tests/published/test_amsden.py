"""Lifetime and fall of evaporating drops, Amsden 1962 as tabled by Matthews (from memory).

t = d² / (80 ΔT); the table's distances assume Stokes' law throughout, which overstates them for
drops above about 80 µm.
"""

import numpy as np
import pytest

from watcher.weather.droplets import fly, lifetime_s

# drop size µm, ΔT K (20 °C and 80 %, 30 °C and 50 %), lifetime s, fall m
TABLE = [
    (50, 2.2, 14, 0.5),
    (100, 2.2, 57, 8.5),
    (200, 2.2, 227, 136),
    (50, 7.7, 4, 0.15),
    (100, 7.7, 16, 2.4),
    (200, 7.7, 65, 39),
]


@pytest.mark.parametrize(("diameter_um", "delta_t", "seconds", "_fall"), TABLE)
def test_a_drop_lasts_as_long_as_tabled(diameter_um, delta_t, seconds, _fall):
    lasts = lifetime_s(diameter_m=diameter_um * 1e-6, delta_t_k=delta_t)
    assert lasts == pytest.approx(seconds, abs=0.5)


def test_a_drop_of_100_um_lasts_12_and_a_half_seconds_at_a_delta_t_of_10():
    assert lifetime_s(diameter_m=100e-6, delta_t_k=10.0) == pytest.approx(12.5)


def fallen(diameter_um: float, delta_t: float) -> float:
    """How far a drop falls in still air before it has evaporated. [m]"""
    flight = fly(
        diameter_m=diameter_um * 1e-6,
        wind_m_s=0.0,
        delta_t_k=delta_t,
        boom_height_m=500.0,
        jet_m_s=0.0,
    )
    assert not flight.landed
    return float(500.0 - flight.height_m)


@pytest.mark.parametrize(
    ("diameter_um", "delta_t", "_seconds", "fall"), [row for row in TABLE if row[0] == 50]
)
def test_a_small_drop_falls_as_far_as_tabled(diameter_um, delta_t, _seconds, fall):
    assert fallen(diameter_um, delta_t) == pytest.approx(fall, rel=0.05)


@pytest.mark.parametrize(
    ("diameter_um", "delta_t", "_seconds", "fall"), [row for row in TABLE if row[0] > 50]
)
def test_a_larger_drop_falls_less_than_stokes_law_says(diameter_um, delta_t, _seconds, fall):
    assert 0.65 * fall < fallen(diameter_um, delta_t) < 0.95 * fall


@pytest.mark.parametrize("delta_t", [0.0, -0.3])
def test_in_saturated_air_a_drop_lasts_for_ever(delta_t):
    assert lifetime_s(diameter_m=100e-6, delta_t_k=delta_t) == np.inf


def test_an_unknown_delta_t_is_an_unknown_lifetime():
    assert np.isnan(lifetime_s(diameter_m=100e-6, delta_t_k=np.nan))
