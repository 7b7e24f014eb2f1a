"""Stability by the deviation of the direction, EPA-454/R-99-005 tables 6-8a and 6-9.

The tables' numbers are from memory (the source was not at hand); the checks are every cell.
"""

import numpy as np
import pytest

from watcher.weather.stability import Stability, direction_class

SPREADS = (25.0, 20.0, 15.0, 10.0, 5.0, 3.0)  # one in each of A to F at 10 m
DAY = [
    (0.0, 2.9, "ABCDDD"),
    (3.0, 3.9, "BBCDDD"),
    (4.0, 5.9, "CCCDDD"),
    (6.0, 20.0, "DDDDDD"),
]
NIGHT = [
    (0.0, 2.3, "FFEDEF"),
    (2.4, 2.8, "FEDDEF"),
    (2.9, 2.9, "EEDDEF"),
    (3.0, 3.5, "EDDDEE"),
    (3.6, 4.9, "DDDDEE"),
    (5.0, 20.0, "DDDDDD"),
]


@pytest.mark.parametrize(
    ("night", "first", "last", "classes"),
    [(False, *row) for row in DAY] + [(True, *row) for row in NIGHT],
)
def test_every_cell(night: bool, first: float, last: float, classes: str) -> None:
    for wind in (first, last):
        found = direction_class(spread_deg=SPREADS, wind_m_s=wind, night=night)
        assert "".join(Stability(c).name for c in found) == classes


@pytest.mark.parametrize(
    ("spread", "expected"),
    [(22.5, "A"), (22.4, "B"), (17.5, "B"), (17.4, "C"), (12.5, "C"), (12.4, "D")],
)
def test_the_limits_belong_to_the_less_stable_class(spread: float, expected: str) -> None:
    found = direction_class(spread_deg=spread, wind_m_s=2.0, night=False)
    assert Stability(int(found)).name == expected


def test_over_smoother_ground_less_spread_makes_the_same_class() -> None:
    """(0.03 / 0.15) ^ 0.2 = 0.725: class A begins at 16.3 instead of 22.5 degrees."""
    found = direction_class(spread_deg=[16.2, 16.4], wind_m_s=2.0, night=False, roughness_m=0.03)
    assert found.tolist() == [Stability.B, Stability.A]


def test_nearer_the_ground_the_same_class_spreads_more() -> None:
    """Exponent -0.06 for A: at 2 m it begins at 22.5 x 0.2^-0.06 = 24.8 degrees."""
    found = direction_class(spread_deg=[24.7, 24.9], wind_m_s=2.0, night=False, height_m=2.0)
    assert found.tolist() == [Stability.B, Stability.A]


def test_a_missing_spread_has_no_class() -> None:
    found = direction_class(spread_deg=np.nan, wind_m_s=2.0, night=True)
    assert found == Stability.UNKNOWN


@pytest.mark.parametrize(
    ("limit", "less", "more"),
    [
        (22.28, "C", "B"),  # 17.5 x 0.2^-0.15
        (16.43, "D", "C"),  # 12.5 x 0.2^-0.17
    ],
)
def test_every_limit_has_its_own_exponent_by_day(limit: float, less: str, more: str) -> None:
    found = direction_class(
        spread_deg=[limit - 0.05, limit + 0.05], wind_m_s=2.0, night=False, height_m=2.0
    )
    assert [Stability(c).name for c in found] == [less, more]


@pytest.mark.parametrize(
    ("limit", "less", "more"),
    [
        (10.86, "E", "D"),  # 7.5 x 0.2^-0.23
        (7.005, "F", "E"),  # 3.8 x 0.2^-0.38
    ],
)
def test_every_limit_has_its_own_exponent_by_night(limit: float, less: str, more: str) -> None:
    found = direction_class(
        spread_deg=[limit - 0.05, limit + 0.05], wind_m_s=2.0, night=True, height_m=2.0
    )
    assert [Stability(c).name for c in found] == [less, more]


def test_the_limits_of_steady_winds_by_night() -> None:
    found = direction_class(spread_deg=[7.5, 7.4, 3.8, 3.7], wind_m_s=2.0, night=True)
    assert "".join(Stability(c).name for c in found) == "DEEF"
