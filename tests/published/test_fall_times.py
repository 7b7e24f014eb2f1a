"""Time to fall 10 ft and drift in a wind of 3 mph: classic extension table (after Ross & Lembi
1985, from memory).

The table rounds to one or two digits, so 20 % is allowed, and half a second where it says 1 s. Its
240 µm row does not fit the physics nor its own neighbours (100 µm takes 10 s, 400 µm 2 s, so 240 µm
cannot take 6): marked as failing, and nothing is tuned to it.
"""

import pytest

from watcher.weather.droplets import terminal_velocity

FOOT = 0.3048
MPH = 0.44704

# drop size µm, seconds, feet
TABLE = [
    (5, 66 * 60, 3 * 5280),
    (20, 4.2 * 60, 1100),
    (100, 10, 44),
    pytest.param(240, 6, 28, marks=pytest.mark.xfail(reason="the row is off by 1.8", strict=True)),
    (400, 2, 8.5),
    (1000, 1, 4.7),
]


@pytest.mark.parametrize(("diameter_um", "seconds", "feet"), TABLE)
def test_a_drop_takes_as_long_and_goes_as_far_as_tabled(diameter_um, seconds, feet):
    falls = 10 * FOOT / float(terminal_velocity(diameter_m=diameter_um * 1e-6))
    assert falls == pytest.approx(seconds, rel=0.2, abs=0.5 if seconds <= 1 else 0)
    drifts = falls * 3 * MPH / FOOT
    assert drifts == pytest.approx(feet, rel=0.2, abs=0.5 * feet if seconds <= 1 else 0)
