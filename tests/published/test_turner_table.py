"""Turner (1964) as in EPA-454/R-99-005, tables 6-4 to 6-6: every cell and every branch."""

import numpy as np
import pytest

from watcher.weather.stability import Stability, net_radiation_index, turner_class

INDICES = (4, 3, 2, 1, 0, -1, -2)
# First and last wind of the printed row in m/s, then the class by index.
ROWS = [
    (0.0, 0.7, "AABCDFG"),
    (0.8, 1.8, "ABBCDFG"),
    (1.9, 2.8, "ABCDDEF"),
    (2.9, 3.3, "BBCDDEF"),
    (3.4, 3.8, "BBCDDDE"),
    (3.9, 4.8, "BCCDDDE"),
    (4.9, 5.4, "CCDDDDE"),
    (5.5, 5.9, "CCDDDDD"),
    (6.0, 30.0, "CDDDDDD"),
]


@pytest.mark.parametrize(("first", "last", "classes"), ROWS)
def test_every_cell_of_the_class_table(first: float, last: float, classes: str) -> None:
    for wind in (first, last):
        found = turner_class(wind_m_s=wind, index=INDICES)
        assert "".join(Stability(c).name for c in found) == classes


@pytest.mark.parametrize(
    ("elevation", "index"), [(5, 1), (15, 1), (15.1, 2), (35, 2), (35.1, 3), (60, 3), (60.1, 4)]
)
def test_insolation_by_the_suns_height_under_an_open_sky(elevation: float, index: int) -> None:
    for cloud in (0.0, 50.0):
        found = net_radiation_index(elevation_deg=elevation, night=False, cloud_pct=cloud)
        assert found == index


FEET = 0.3048


@pytest.mark.parametrize(
    ("cloud", "ceiling_ft", "index"),
    [
        (60, 5000, 2),  # insolation class 4, low ceiling: 2 less
        (60, 7000, 3),  # middle: 1 less
        (60, 15_999, 3),
        (60, 16_000, 4),  # high: none
        (100, 6999, 0),  # low overcast: 0, day or night
        (100, 7000, 2),  # overcast: 1 more off than the middle ceiling
        (100, 20_000, 3),  # and 1 off under a high one (wording of table 6-6)
    ],
)
def test_cloud_by_day_lowers_a_high_sun(cloud: float, ceiling_ft: float, index: int) -> None:
    found = net_radiation_index(
        elevation_deg=65.0, night=False, cloud_pct=cloud, ceiling_m=ceiling_ft * FEET
    )
    assert found == index


@pytest.mark.parametrize("ceiling_ft", [5000, 10_000])
def test_cloud_by_day_never_makes_a_night_of_it(ceiling_ft: float) -> None:
    found = net_radiation_index(
        elevation_deg=10.0, night=False, cloud_pct=80.0, ceiling_m=ceiling_ft * FEET
    )
    assert found == 1


@pytest.mark.parametrize(
    ("cloud", "ceiling_ft", "index"),
    [(0, np.nan, -2), (40, np.nan, -2), (50, np.nan, -1), (100, 6999, 0), (100, 7000, -1)],
)
def test_cloud_by_night(cloud: float, ceiling_ft: float, index: int) -> None:
    found = net_radiation_index(
        elevation_deg=-20.0, night=True, cloud_pct=cloud, ceiling_m=ceiling_ft * FEET
    )
    assert found == index


def test_an_unknown_ceiling_is_read_the_stabler_way() -> None:
    day = net_radiation_index(elevation_deg=65.0, night=False, cloud_pct=[60.0, 100.0])
    night = net_radiation_index(elevation_deg=-9.0, night=True, cloud_pct=100.0)
    assert day.tolist() == [2.0, 0.0]
    assert night == -1.0


@pytest.mark.parametrize(
    ("night", "elevation", "cloud", "ceiling_ft", "wind", "expected"),
    [
        (True, -20, 0, np.nan, 1.0, "G"),  # EPA merges Turner's seventh class into F
        (True, -20, 0, np.nan, 3.0, "F"),
        (True, -20, 0, np.nan, 4.0, "E"),
        (True, -20, 80, np.nan, 3.0, "E"),
        (False, 65, 0, np.nan, 1.0, "A"),
        (False, 40, 80, 3000, 2.5, "D"),
        (False, 40, 100, 2000, 1.0, "D"),
        (True, -20, 100, 2000, 1.0, "D"),
    ],
)
def test_worked_checks(
    night: bool, elevation: float, cloud: float, ceiling_ft: float, wind: float, expected: str
) -> None:
    index = net_radiation_index(
        elevation_deg=elevation, night=night, cloud_pct=cloud, ceiling_m=ceiling_ft * FEET
    )
    assert Stability(int(turner_class(wind_m_s=wind, index=index))).name == expected
