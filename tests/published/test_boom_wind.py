"""Boom winds over crops beside a mast: two-surface factors and Obukhov lengths.

Tables worked out apart from this program from the published forms (FAO-56 displacement and
roughness, Paulson 1970, Beljaars & Holtslag 1991, Wieringa 1986) in ``air.md`` of the reference
pages, section 1; FAO-56 example 14 and the daily wind of Ley's alfalfa are the publishers' own.
"""

import numpy as np
import pytest

from watcher.weather.stability import obukhov_of_pair
from watcher.weather.wind_profile import (
    GRASS,
    Surface,
    profile,
    psi_momentum,
    wind_at_height,
    wind_factor,
)

CROPS_M = np.array([0.12, 0.3, 0.9, 1.5, 2.4])
AIRPORT = Surface.of_roughness(0.03)


@pytest.mark.parametrize(
    ("from_m", "of", "obukhov", "shares"),
    [
        (2.0, GRASS, np.inf, [0.739, 0.648, 0.547, 0.512, 0.494]),
        (3.0, GRASS, np.inf, [0.681, 0.597, 0.503, 0.472, 0.455]),
        (3.0, GRASS, 20.0, [0.622, 0.520, 0.416, 0.383, 0.368]),
        (3.0, GRASS, -20.0, [0.713, 0.638, 0.551, 0.521, 0.504]),
        (10.0, GRASS, np.inf, [0.553, 0.485, 0.409, 0.383, 0.370]),
        (10.0, AIRPORT, np.inf, [0.564, 0.495, 0.417, 0.391, 0.377]),
        (10.0, AIRPORT, 20.0, [0.439, 0.367, 0.293, 0.271, 0.260]),
        (10.0, AIRPORT, -20.0, [0.621, 0.556, 0.480, 0.454, 0.439]),
    ],
)
def test_the_wind_half_a_metre_over_a_crop(
    from_m: float, of: Surface, obukhov: float, shares: list[float]
) -> None:
    over = Surface.of_canopy(CROPS_M)
    found = wind_factor(from_m=from_m, to_m=CROPS_M + 0.5, of=of, over=over, obukhov_m=obukhov)
    assert found == pytest.approx(shares, abs=6e-4)


@pytest.mark.parametrize(("obukhov", "shares"), [(10.0, [0.369, 0.249]), (40.0, [0.493, 0.335])])
def test_an_airport_s_wind_in_more_and_less_stable_air(obukhov: float, shares: list[float]) -> None:
    crops = np.array([0.12, 0.9])
    over = Surface.of_canopy(crops)
    found = wind_factor(from_m=10.0, to_m=crops + 0.5, of=AIRPORT, over=over, obukhov_m=obukhov)
    assert found == pytest.approx(shares, abs=6e-4)


@pytest.mark.parametrize(
    ("blending_m", "winds"),
    [(40.0, [1.761, 1.651, 1.593]), (10.0, [1.919, 1.874, 1.908]), (60.0, [1.731, 1.612, 1.542])],
)
def test_the_blending_height_counts_for_about_a_tenth(
    blending_m: float, winds: list[float]
) -> None:
    crops = CROPS_M[2:]
    found = wind_at_height(
        wind_m_s=3.5,
        from_m=3.0,
        to_m=crops + 0.5,
        over=Surface.of_canopy(crops),
        blending_m=blending_m,
    )
    assert found == pytest.approx(winds, abs=6e-4)


def test_from_a_crop_to_grass_and_from_grass_to_bare_soil() -> None:
    alfalfa, soil = Surface.of_canopy(0.5), Surface.of_roughness(0.005)
    assert wind_factor(from_m=2.0, to_m=2.0, of=alfalfa) == pytest.approx(1.208, abs=6e-4)
    low = wind_factor(from_m=2.0, to_m=2.0, of=alfalfa, blending_m=10.0)
    assert low == pytest.approx(1.146, abs=6e-4)
    assert wind_factor(from_m=3.0, to_m=0.5, over=soil) == pytest.approx(0.766, abs=6e-4)


def test_the_exposure_correction_of_the_wmo() -> None:
    """From 10 m at z0 0.1 and 0.25 to 10 m at 0.03, blended at 60 m without displacement."""
    of = Surface.of_roughness([0.1, 0.25])
    found = wind_factor(from_m=10.0, to_m=10.0, of=of, over=AIRPORT, blending_m=60.0)
    assert found == pytest.approx([1.062, 1.136], abs=6e-4)


def test_the_profiles_behind_a_factor() -> None:
    crop = Surface.of_canopy(0.9)
    neutral = [profile(3.0, GRASS), profile(40.0, GRASS), profile(40.0, crop), profile(1.4, crop)]
    assert neutral == pytest.approx([5.2874, 7.9027, 5.8747, 1.9778], abs=1e-4)
    stable = [
        profile(z, surface, 20.0)
        for z, surface in ((3, GRASS), (40, GRASS), (40, crop), (1.4, crop))
    ]
    assert stable == pytest.approx([5.9967, 15.3445, 13.2206, 2.1488], abs=1e-4)


def test_the_integrated_stability_functions() -> None:
    assert psi_momentum([-0.1, -0.5, -1.0, -2.0]) == pytest.approx(
        [0.2836, 0.7934, 1.1162, 1.4947], abs=1e-4
    )
    assert psi_momentum([0.1, 0.5, 1.0, 5.0]) == pytest.approx(
        [-0.4919, -2.3088, -4.2823, -13.448], abs=1e-3
    )


@pytest.mark.parametrize(
    ("heights", "temps", "wind", "roughness_m", "obukhov"),
    [
        ((0.5, 2.5), (15.0, 16.0), (3.0, 1.5), 0.015, 3.3),
        ((0.5, 2.5), (15.0, 15.3), (3.0, 2.5), 0.015, 33.0),
        ((2.0, 10.0), (15.0, 15.5), (10.0, 3.0), 0.03, 24.2),
        ((2.0, 10.0), (25.0, 24.5), (10.0, 3.0), 0.03, -19.3),
        ((0.5, 2.5), (25.0, 24.0), (3.0, 2.5), 0.015, -8.1),
    ],
)
def test_the_obukhov_length_of_two_thermometers(
    heights: tuple[float, float],
    temps: tuple[float, float],
    wind: tuple[float, float],
    roughness_m: float,
    obukhov: float,
) -> None:
    found = obukhov_of_pair(
        temp_c=temps[0],
        temp_upper_c=temps[1],
        height_m=heights[0],
        upper_height_m=heights[1],
        wind_m_s=wind[1],
        wind_height_m=wind[0],
        surface=Surface.of_roughness(roughness_m),
    )
    assert found == pytest.approx(obukhov, rel=0.01)
