"""How far single drops go from two boom heights: simulated scenarios printed by OMAFRA 2013.

20 °C, 40 % humidity (Delta T about 7.6 K), flat fan at 40 psi, wind 15 km/h. Read off a graph, and
the drops' first speed is not stated, so 40 % is allowed.
"""

import pytest

from watcher.weather.droplets import fly


def drifted(diameter_um: float, boom_m: float, wind_kmh: float = 15.0) -> float:
    flight = fly(
        diameter_m=diameter_um * 1e-6,
        wind_m_s=wind_kmh / 3.6,
        delta_t_k=7.6,
        boom_height_m=boom_m,
    )
    assert flight.landed
    return float(flight.distance_m)


@pytest.mark.parametrize(
    ("diameter_um", "boom_m", "metres"),
    [(200, 0.5, 0.25), (200, 1.0, 3.0), (100, 0.5, 6.0), (100, 1.0, 16.0)],
)
def test_a_drop_goes_about_as_far_as_printed(diameter_um, boom_m, metres):
    assert drifted(diameter_um, boom_m) == pytest.approx(metres, rel=0.4)


def test_the_distance_is_proportional_to_the_wind():
    # Exactly so without evaporation and jet; the printed figures are said to be linear.
    assert drifted(100, 1.0, 20.0) == pytest.approx(2 * drifted(100, 1.0, 10.0), rel=0.05)
