"""Obukhov lengths by class; the tables have their own tests in tests/published."""

import numpy as np
import pytest

from watcher.weather.stability import Stability, obukhov_length


def test_obukhov_lengths_run_from_unstable_over_neutral_to_stable() -> None:
    """1/L rises with every class; A to C negative, D zero, E to G positive."""
    inverse = 1.0 / obukhov_length(stability=list(Stability)[1:], roughness_m=0.05)
    assert np.all(np.diff(inverse) >= 0)
    assert np.all(inverse[:3] < 0)
    assert inverse[3] == 0
    assert np.all(inverse[4:] > 0)


def test_golders_line_for_a_very_stable_class() -> None:
    """1/L = 0.035 - 0.036 log10(0.1) = 0.071 for F (constants from memory)."""
    assert obukhov_length(stability=Stability.F, roughness_m=0.1) == pytest.approx(1 / 0.071)


def test_an_unknown_class_has_no_length() -> None:
    assert np.isnan(obukhov_length(stability=Stability.UNKNOWN, roughness_m=0.1))
    assert np.isnan(obukhov_length(stability=Stability.D, roughness_m=0.0))


@pytest.mark.parametrize(
    ("roughness_m", "inverse"),
    [
        (0.1, [-0.125, -0.066, -0.020, 0.0, 0.022, 0.071, 0.071]),
        (0.01, [-0.154, -0.095, -0.038, 0.0, 0.040, 0.107, 0.107]),
    ],
)
def test_golders_lines_of_every_class(roughness_m: float, inverse: list[float]) -> None:
    """1/L = a + b log10(z0), by hand (constants from memory)."""
    length = obukhov_length(stability=list(Stability)[1:], roughness_m=roughness_m)
    assert 1.0 / length == pytest.approx(inverse, abs=1e-9)
