"""The shares of a wind rose: sectors round the north, classes, calms, and that all is counted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from watcher.weather.rose import rose

EDGES = (2.0, 5.0)


def one(wind: float, from_deg: float) -> tuple[int, int]:
    found = rose(wind_m_s=[wind], from_deg=[from_deg], edges_m_s=EDGES).shares
    [[sector, strength]] = np.argwhere(found == 1.0)
    return int(sector), int(strength)


@pytest.mark.parametrize(
    ("from_deg", "sector"),
    [(0, 0), (360, 0), (355, 0), (11.2, 0), (11.25, 1), (90, 4), (180, 8), (348.7, 15), (349, 0)],
)
def test_sixteen_sectors_the_first_round_the_north(from_deg: float, sector: int) -> None:
    assert one(3.0, from_deg)[0] == sector


@pytest.mark.parametrize(("wind", "strength"), [(0.5, 0), (1.9, 0), (2.0, 1), (5.0, 2), (40.0, 2)])
def test_classes_of_speed(wind: float, strength: int) -> None:
    assert one(wind, 90.0)[1] == strength


def test_calms_and_winds_without_direction_are_told_apart() -> None:
    found = rose(
        wind_m_s=[0.0, 0.4, 3.0, 3.0, np.nan],
        from_deg=[np.nan, 90, np.nan, 90, 90],
        edges_m_s=EDGES,
    )
    assert (found.calm, found.unsteady, found.shares.sum(), found.known) == (0.5, 0.25, 0.25, 4)


def test_no_wind_known_has_no_shares() -> None:
    found = rose(wind_m_s=[np.nan], from_deg=[90.0], edges_m_s=EDGES)
    assert np.isnan(found.shares).all()
    assert np.isnan(found.calm)


@given(arrays(float, 40, elements=st.floats(0, 40) | st.just(np.nan)), st.integers(0, 2**32 - 1))
def test_all_shares_together_are_one(wind: np.ndarray, seed: int) -> None:
    from_deg = np.random.default_rng(seed).uniform(0, 360, wind.size)
    from_deg[::7] = np.nan
    found = rose(wind_m_s=wind, from_deg=from_deg, edges_m_s=EDGES)
    if found.known:
        assert found.shares.sum() + found.calm + found.unsteady == pytest.approx(1.0)


def test_turning_every_wind_by_a_sector_turns_the_rose() -> None:
    rng = np.random.default_rng(2)
    wind, from_deg = rng.uniform(0, 12, 500), rng.uniform(0, 360, 500)
    before = rose(wind_m_s=wind, from_deg=from_deg, edges_m_s=EDGES).shares
    after = rose(wind_m_s=wind, from_deg=(from_deg + 22.5) % 360, edges_m_s=EDGES).shares
    np.testing.assert_array_equal(np.roll(before, 1, axis=0), after)
