"""Obukhov lengths by class; the tables have their own tests in tests/published."""

import numpy as np
import pytest

from watcher.weather.stability import Stability, obukhov_length, obukhov_of_pair
from watcher.weather.wind_profile import Surface


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


OVER_BARE_SOIL = Surface.of_roughness(0.01)  # without a displacement
PAIR = {"height_m": 2.0, "upper_height_m": 3.0, "wind_m_s": 3.0, "wind_height_m": 10.0}


def test_air_that_cools_with_height_as_it_expands_is_neutral() -> None:
    """0.0098 K a metre, the dry adiabatic lapse rate: no length is too long."""
    found = obukhov_of_pair(temp_c=0.0098, temp_upper_c=0.0, **PAIR, surface=OVER_BARE_SOIL)
    assert found == np.inf


@pytest.mark.parametrize(("rise_k", "sign"), [(0.05, 1.0), (-0.05, -1.0)])
def test_air_that_warms_with_height_is_layered_and_air_that_cools_more_is_not(
    rise_k: float, sign: float
) -> None:
    upper = 20.0 - 0.0098 + rise_k
    found = obukhov_of_pair(temp_c=20.0, temp_upper_c=upper, **PAIR, surface=OVER_BARE_SOIL)
    assert np.isfinite(found)
    assert np.sign(found) == sign


@pytest.mark.parametrize(
    "wrong",
    [
        {"wind_m_s": 0.0},
        {"wind_m_s": -1.0},
        {"upper_height_m": 2.0},
        {"upper_height_m": 1.5},
        {"height_m": 0.0},
    ],
)
def test_no_wind_and_thermometers_the_wrong_way_up_tell_no_length(wrong: dict[str, float]) -> None:
    for upper in (19.0, 21.0):
        found = obukhov_of_pair(
            temp_c=20.0, temp_upper_c=upper, **(PAIR | wrong), surface=OVER_BARE_SOIL
        )
        assert np.isnan(found)


def test_below_the_displacement_of_a_crop_a_thermometer_tells_no_length() -> None:
    """Two thirds of a metre of maize: 0.67 m."""
    maize = Surface.of_canopy(1.0)
    for height, known in ((0.66, False), (0.68, True)):
        found = obukhov_of_pair(
            temp_c=20.0, temp_upper_c=20.5, **(PAIR | {"height_m": height}), surface=maize
        )
        assert np.isfinite(found) == known


@pytest.mark.parametrize("temp_c", [-20.0, 20.0, 40.0])
def test_warm_air_is_layered_less_by_the_same_difference(temp_c: float) -> None:
    """1/L is a length over the absolute temperature; nearly neutral, nothing else changes."""
    at = [
        float(
            obukhov_of_pair(
                temp_c=t, temp_upper_c=t - 0.0098 + 1e-4, **PAIR, surface=OVER_BARE_SOIL
            )
        )
        for t in (0.0, temp_c)
    ]
    assert at[1] / at[0] == pytest.approx((273.15 + temp_c) / 273.15, rel=2e-3)
