"""Solar radiation / delta-T scheme, EPA-454/R-99-005 table 6-7: every cell and its edges."""

import numpy as np
import pytest

from watcher.weather.stability import Stability, srdt_class

SOLAR = (1000.0, 925.0, 924.9, 675.0, 674.9, 175.0, 174.9, 0.0)  # both ends of each column
DAY = [
    (0.0, 1.9, "AAAABBDD"),
    (2.0, 2.9, "AABBCCDD"),
    (3.0, 4.9, "BBBBCCDD"),
    (5.0, 5.9, "CCCCDDDD"),
    (6.0, 20.0, "CCDDDDDD"),
]
NIGHT = [(0.0, 1.9, "EF"), (2.0, 2.4, "DE"), (2.5, 20.0, "DD")]


def names(classes: np.ndarray) -> str:
    return "".join(Stability(c).name for c in classes)


@pytest.mark.parametrize(("first", "last", "classes"), DAY)
def test_every_cell_by_day(first: float, last: float, classes: str) -> None:
    for wind in (first, last):
        found = srdt_class(wind_m_s=wind, night=False, solar_w_m2=SOLAR, difference_k=np.nan)
        assert names(found) == classes


@pytest.mark.parametrize(("first", "last", "classes"), NIGHT)
def test_every_cell_by_night(first: float, last: float, classes: str) -> None:
    for wind in (first, last):
        falling_rising = {"difference_k": [-0.1, 0.0]}
        found = srdt_class(wind_m_s=wind, night=True, solar_w_m2=np.nan, **falling_rising)
        assert names(found) == classes


@pytest.mark.parametrize(
    ("wind", "night", "solar", "difference", "expected"),
    [
        (1.5, False, 950, np.nan, "A"),
        (4.0, False, 300, np.nan, "C"),
        (6.5, False, 1000, np.nan, "C"),
        (1.5, True, np.nan, 0.3, "F"),
        (2.2, True, np.nan, 0.3, "E"),
        (3.0, True, np.nan, 1.0, "D"),
    ],
)
def test_worked_checks(
    wind: float, night: bool, solar: float, difference: float, expected: str
) -> None:
    found = srdt_class(wind_m_s=wind, night=night, solar_w_m2=solar, difference_k=difference)
    assert Stability(int(found)).name == expected
