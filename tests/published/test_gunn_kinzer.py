"""Fall speeds of water drops in still air.

Gunn & Kinzer 1949 (J. Meteor. 6:243), values from memory. Drops above 1 mm: our flattening was
fitted to the 2 mm value, so that one tests the fit only; the formula of Beard 1976 (J. Atmos. Sci.
33:851) stands beside it as an independent check over the whole range.
"""

import numpy as np
import pytest

from watcher.weather.droplets import terminal_velocity

GUNN_KINZER = {
    0.1: 0.27,
    0.2: 0.72,
    0.3: 1.17,
    0.4: 1.62,
    0.5: 2.06,
    1.0: 4.03,
    2.0: 6.49,
}


@pytest.mark.parametrize(("diameter_mm", "speed"), GUNN_KINZER.items())
def test_a_drop_falls_as_measured_within_5_percent(diameter_mm, speed):
    assert terminal_velocity(diameter_m=diameter_mm * 1e-3) == pytest.approx(speed, rel=0.05)


def beard(diameter: float) -> float:
    """Beard's formula for 20 °C and 1013 hPa. [m/s]"""
    water, air, viscosity, weight, tension = 998.2, 1.204, 1.818e-5, 9.80665, 0.0728
    lift = (water - air) * weight
    if diameter < 1.07e-3:
        davies = 4 * air * lift * diameter**3 / (3 * viscosity**2)
        powers = (
            -3.18657,
            0.992696,
            -1.53193e-3,
            -9.87059e-4,
            -5.78878e-4,
            8.55176e-5,
            -3.27815e-6,
        )
        reynolds = np.exp(np.polynomial.Polynomial(powers)(np.log(davies)))
    else:
        physical = (tension**3 * air**2 / (viscosity**4 * lift)) ** (1 / 6)
        bond = 4 * lift * diameter**2 / (3 * tension)
        powers = (-5.00015, 5.23778, -2.04914, 0.475294, -0.0542819, 0.00238449)
        reynolds = physical * np.exp(np.polynomial.Polynomial(powers)(np.log(bond * physical)))
    return float(viscosity / air / diameter * reynolds)


@pytest.mark.parametrize("diameter_um", [20, 35, 50, 75, 100, 150, 250, 400, 700, 1200, 1500, 1800])
def test_a_drop_falls_by_beards_formula_within_4_percent(diameter_um):
    speed = terminal_velocity(diameter_m=diameter_um * 1e-6)
    assert speed == pytest.approx(beard(diameter_um * 1e-6), rel=0.04)


def test_the_flattening_goes_through_the_two_millimetre_drop_it_was_fitted_to() -> None:
    """No check of the physics, only that the fit is the one that was made."""
    assert terminal_velocity(diameter_m=2e-3) == pytest.approx(6.49, rel=2e-3)
    assert terminal_velocity(diameter_m=1e-3) == pytest.approx(4.03, rel=5e-3)
