"""The wind brought from where it is measured to where it is asked for.

Up the profile over what grows under the sensor to a height at which both surfaces feel one wind,
and from there down the profile over what grows where it is asked for, each as the air is layered.
Every function broadcasts its arguments and gives NaN wherever one is NaN or outside its stated
range.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

GRASS_M = 0.12
"""Height of the short grass of a weather station. [m]"""
BLENDING_M = 40.0
"""Height at which the wind over two wide surfaces is the same. [m]

A choice within the published 60 m for 5 km by 5 km (Wieringa 1986) and the some 20 m of the layer
that 400 m of crop makes.
"""
LEAST_STABLE_OBUKHOV_M = 5.0
"""Below it layers slide over each other and no profile holds; the profile then stops at it. [m]"""
UNCERTAINTY, UNCERTAINTY_LAYERED = 0.2, 0.3
"""Standard deviation of a wind that was brought elsewhere, as a share of it: by day and in mixed
air; in the layered air of a night, or where nothing is known of the layering.

Blending height 6 %, displacement and roughness 12 %, siting 10 %, Obukhov length 5 % or 15 to 20 %,
together a little less than these. Neutral taken for an L of 10 to 20 m is 28 to 53 % too much.
"""

_LEAST_CANOPY_M = 0.02
_TALLEST_CANOPY_M = 3.0
_LEAST_ZETA = -2.0
"""As far as the unstable functions were measured."""
_LEAST_BLENDING_M = 5.0


@dataclass(frozen=True)
class Surface:
    """What the wind blows over: zero-plane displacement, roughness length for momentum, and the
    height nothing can be said below. [m] each; they broadcast."""

    displacement_m: Floats
    roughness_m: Floats
    top_m: Floats

    @classmethod
    def of_canopy(cls, canopy_m: ArrayLike) -> Self:
        """Return a closed stand of 0 to 3 m; bare soil counts as 2 cm.

        FAO-56, chapter 2, equation 4: 2/3 and 0.123 of the height. Measured over maize they were
        0.75 and 0.065 (Jacobs & van Boxel 1988), 15 to 17 % more wind at a boom.
        """
        canopy = np.asarray(canopy_m, dtype=np.float64)
        known = (canopy >= 0) & (canopy <= _TALLEST_CANOPY_M)
        height = np.where(known, np.maximum(canopy, _LEAST_CANOPY_M), np.nan)
        return cls(2.0 / 3.0 * height, 0.123 * height, height)

    @classmethod
    def of_roughness(cls, roughness_m: ArrayLike) -> Self:
        """Return an open surface given by its roughness length alone, without a displacement."""
        roughness = np.asarray(roughness_m, dtype=np.float64)
        roughness = np.where(roughness > 0, roughness, np.nan)
        return cls(np.zeros(roughness.shape), roughness, roughness)


GRASS = Surface.of_canopy(GRASS_M)


def wind_at_height(
    *,
    wind_m_s: ArrayLike,
    from_m: ArrayLike,
    to_m: ArrayLike,
    of: Surface = GRASS,
    over: Surface = GRASS,
    blending_m: ArrayLike = BLENDING_M,
    obukhov_m: ArrayLike = np.inf,
) -> Floats:
    """Return the mean wind at ``to_m`` over one surface from that at ``from_m`` of another, m/s.

    Heights are above the ground; below the top of its surface there is no profile (NaN). Up to
    about twice the canopy, in its roughness sublayer, the wind is up to 10 % more than this.
    Neutral where ``obukhov_m`` is infinite. In stable air a lower place never has more wind. Over
    one surface the blending height does not count, and from 10 to 2 m over grass this is FAO-56
    equation 47. Good to ``UNCERTAINTY``.
    """
    wind = np.asarray(wind_m_s, dtype=np.float64)
    return np.where(wind >= 0, wind, np.nan) * wind_factor(
        from_m=from_m, to_m=to_m, of=of, over=over, blending_m=blending_m, obukhov_m=obukhov_m
    )


def wind_factor(
    *,
    from_m: ArrayLike,
    to_m: ArrayLike,
    of: Surface = GRASS,
    over: Surface = GRASS,
    blending_m: ArrayLike = BLENDING_M,
    obukhov_m: ArrayLike = np.inf,
) -> Floats:
    """Return what ``wind_at_height`` multiplies a wind by. [1]"""
    here, there = (np.asarray(z, dtype=np.float64) for z in (from_m, to_m))
    given = np.asarray(obukhov_m, dtype=np.float64)
    length = np.where(given > 0, np.maximum(given, LEAST_STABLE_OBUKHOV_M), given)
    length = np.where(given == 0, np.nan, length)
    blending = np.asarray(blending_m, dtype=np.float64)
    # In this order equal surfaces and heights leave exactly one.
    share = _profile(blending, of, length) / _profile(blending, over, length)
    share = share * (_profile(there, over, length) / _profile(here, of, length))
    held = (given > 0) & np.isfinite(given) & (there <= here)
    return np.where(held, np.minimum(share, 1.0), share)


def gust_at_height(*, wind_m_s: ArrayLike, gust_m_s: ArrayLike, there_m_s: ArrayLike) -> Floats:
    """Return the gust where the mean wind is ``there_m_s``: that plus the gust's excess over its
    own mean, m/s.

    The excess is kept whole because the standard deviation of the wind hardly changes with height
    in the neutral surface layer (value from memory). Downward, towards a boom, this is on the safe
    side. A gust reported below the mean counts as equal to it.
    """
    wind = np.asarray(wind_m_s, dtype=np.float64)
    excess = np.maximum(np.asarray(gust_m_s, dtype=np.float64) - wind, 0.0)
    return np.asarray(np.asarray(there_m_s, dtype=np.float64) + excess)


def uncertainty_of(obukhov_m: ArrayLike) -> Floats:
    """Return the standard deviation of a wind brought elsewhere, as a share of it.

    The larger one in stable air, and where the layering is not known (NaN).
    """
    length = np.asarray(obukhov_m, dtype=np.float64)
    mixed = (length < 0) | np.isinf(length)
    return np.where(mixed, UNCERTAINTY, UNCERTAINTY_LAYERED)


def layer_height(*, fetch_m: ArrayLike, over: Surface, beside: Surface = GRASS) -> Floats:
    """Return up to where the air has felt a surface after ``fetch_m`` of it, m above the ground.

    The internal boundary layer: 0.28 z0 (x / z0)^0.8 above the displacement, with the larger of the
    two roughness lengths (Wood 1982); within 5 to 40 m.
    """
    rough = np.maximum(over.roughness_m, beside.roughness_m)
    grown = 0.28 * rough * (np.asarray(fetch_m, dtype=np.float64) / rough) ** 0.8
    return np.clip(over.displacement_m + grown, _LEAST_BLENDING_M, BLENDING_M)


def blending_height(
    *, layer_m: ArrayLike, top_m: ArrayLike, obukhov_m: ArrayLike = np.inf
) -> Floats:
    """Return at which height to pass from one surface's profile to the other's, m.

    ``layer_m`` as of ``layer_height``, in stable air at most twice the Obukhov length, and never
    below ``top_m``, the boom or twice the canopy.
    """
    length = np.asarray(obukhov_m, dtype=np.float64)
    most = np.where(length > 0, 2.0 * np.maximum(length, LEAST_STABLE_OBUKHOV_M), np.inf)
    return np.maximum(np.minimum(layer_m, most), top_m)


def psi_momentum(zeta: ArrayLike) -> Floats:
    """Return the integrated stability function for momentum at z/L.

    Unstable: Businger-Dyer (Paulson 1970), z/L held at -2; stable: Beljaars & Holtslag 1991.
    """
    z = np.asarray(zeta, dtype=np.float64)
    x = (1.0 - 16.0 * np.clip(z, _LEAST_ZETA, 0.0)) ** 0.25
    unstable = (
        2.0 * np.log((1.0 + x) / 2.0)
        + np.log((1.0 + x * x) / 2.0)
        - 2.0 * np.arctan(x)
        + np.pi / 2.0
    )
    return np.where(z > 0, -(z + _bent(z)), unstable)


def psi_heat(zeta: ArrayLike) -> Floats:
    """Return the same for heat."""
    z = np.asarray(zeta, dtype=np.float64)
    unstable = 2.0 * np.log((1.0 + np.sqrt(1.0 - 16.0 * np.clip(z, _LEAST_ZETA, 0.0))) / 2.0)
    straight = (1.0 + 2.0 / 3.0 * np.maximum(z, 0.0)) ** 1.5 - 1.0
    return np.where(z > 0, -(straight + _bent(z)), unstable)


_B, _C, _D = 2.0 / 3.0, 5.0, 0.35


def _bent(zeta: Floats) -> Floats:
    """What both stable functions have in common, of Beljaars & Holtslag."""
    z = np.maximum(zeta, 0.0)
    return np.asarray(_B * (z - _C / _D) * np.exp(-_D * z) + _B * _C / _D)


def profile(height_m: ArrayLike, surface: Surface, obukhov_m: ArrayLike = np.inf) -> Floats:
    """Return the wind over the friction velocity, times Karman's constant, at a height. [1]"""
    return _profile(np.asarray(height_m, np.float64), surface, np.asarray(obukhov_m, np.float64))


def _profile(height: Floats, surface: Surface, length: Floats) -> Floats:
    z = np.where(height >= surface.top_m, height, np.nan) - surface.displacement_m
    neutral = np.log(z / surface.roughness_m)
    layered = psi_momentum(z / length) - psi_momentum(surface.roughness_m / length)
    return np.asarray(neutral - layered)
