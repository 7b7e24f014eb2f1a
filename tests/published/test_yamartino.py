"""Yamartino (1984): the single-pass estimate of the direction's standard deviation."""

import numpy as np
import pytest

from watcher.weather.wind import yamartino


@pytest.mark.parametrize(
    ("directions", "sigma"),
    [
        ([350.0, 10.0], 10.0081),
        ([80.0, 90.0, 100.0], 8.1651),
        ([350.0, 0.0, 10.0], 8.1651),
        ([0.0, 90.0], 47.461),
        ([45.0, 45.0, 45.0], 0.0),
    ],
)
def test_values_of_the_formula_worked_out_by_hand(directions: list[float], sigma: float) -> None:
    """epsilon = sqrt(1 - s^2 - c^2); sigma = asin(epsilon) (1 + 0.1547 epsilon^3)."""
    assert yamartino(directions) == pytest.approx(sigma, abs=5e-4)


def test_directions_from_all_round_have_the_deviation_of_a_full_circle() -> None:
    """180 / sqrt(3) = 103.923 degrees: what the formula's constant was chosen for."""
    assert yamartino(np.arange(360.0)) == pytest.approx(180 / np.sqrt(3), abs=1e-3)


@pytest.mark.parametrize("sigma", [2.0, 5.0, 10.0, 20.0, 40.0])
@pytest.mark.parametrize("mean", [0.0, 100.0, 359.0])
def test_it_finds_the_deviation_of_simulated_directions(sigma: float, mean: float) -> None:
    """Within 2 % of the two-pass deviation of the unwrapped normal directions, as published."""
    unwrapped = np.random.default_rng(1984).normal(mean, sigma, 40_000)
    assert yamartino(unwrapped % 360.0) == pytest.approx(unwrapped.std(), rel=0.02)


@pytest.mark.parametrize(("half_width", "error"), [(10.0, 0.01), (45.0, 0.025), (90.0, 0.045)])
def test_it_finds_the_deviation_of_an_even_sector(half_width: float, error: float) -> None:
    """A uniform sector of +-w has w / sqrt(3), worst for the estimate at half a circle."""
    sector = np.linspace(-half_width, half_width, 20_001) % 360.0
    assert yamartino(sector) == pytest.approx(half_width / np.sqrt(3), rel=error)
