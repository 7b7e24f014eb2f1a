"""Richardson number and Obukhov length; the tables have their own tests in tests/published."""

import numpy as np
import pytest

from watcher.weather.stability import Stability, bulk_richardson, obukhov_length


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        ((0.5, 15.0, 1.0), (2.5, 16.0, 1.5), 0.2771),
        ((2.0, 25.0, 2.0), (10.0, 24.5, 3.0), -0.1110),
    ],
)
def test_the_bulk_richardson_number(
    low: tuple[float, float, float], high: tuple[float, float, float], expected: float
) -> None:
    """(g / theta) (d theta) dz / dU^2 by hand, height, temperature and wind at each level."""
    found = bulk_richardson(
        height_m=low[0],
        temp_c=low[1],
        wind_m_s=low[2],
        upper_height_m=high[0],
        temp_upper_c=high[1],
        wind_upper_m_s=high[2],
    )
    assert found == pytest.approx(expected, abs=6e-5)


def test_well_mixed_air_has_a_richardson_number_of_zero() -> None:
    """Temperature falling by the dry lapse is neutral, not unstable."""
    found = bulk_richardson(
        height_m=2.0,
        upper_height_m=12.0,
        temp_c=20.0,
        temp_upper_c=20.0 - 0.098,
        wind_m_s=2.0,
        wind_upper_m_s=4.0,
    )
    assert abs(found) < 1e-9


def test_without_shear_there_is_no_richardson_number() -> None:
    found = bulk_richardson(
        height_m=2.0,
        upper_height_m=10.0,
        temp_c=20.0,
        temp_upper_c=21.0,
        wind_m_s=2.0,
        wind_upper_m_s=2.0,
    )
    assert np.isnan(found)


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
