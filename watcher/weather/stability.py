"""How stable the air near the ground is: the published schemes, each with its table.

Winds are 10 m winds. Every function broadcasts; a missing input makes the class ``UNKNOWN`` (or the
number NaN) wherever the scheme would have needed it. Tables: EPA-454/R-99-005, Meteorological
Monitoring Guidance for Regulatory Modeling Applications, section 6.4.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.wind_profile import GRASS, Surface, profile, psi_heat

Floats = NDArray[np.float64]
Classes = NDArray[np.int8]

GRAVITY_M_S2 = 9.80665
DRY_LAPSE_K_M = 0.0098
KARMAN = 0.4
_HALVINGS = 40


class Stability(IntEnum):
    """Pasquill-Gifford classes, A very unstable, D neutral, G (Turner's seventh) most stable."""

    UNKNOWN = 0
    A = 1
    B = 2
    C = 3
    D = 4
    E = 5
    F = 6
    G = 7


# Turner (1964), table 6-4: rows by wind from the least wind of each row, columns by net radiation
# index 4, 3, 2, 1, 0, -1, -2.
_TURNER_WIND = np.array([0.8, 1.9, 2.9, 3.4, 3.9, 4.9, 5.5, 6.0])
_TURNER = np.array(
    [
        [1, 1, 2, 3, 4, 6, 7],
        [1, 2, 2, 3, 4, 6, 7],
        [1, 2, 3, 4, 4, 5, 6],
        [2, 2, 3, 4, 4, 5, 6],
        [2, 2, 3, 4, 4, 4, 5],
        [2, 3, 3, 4, 4, 4, 5],
        [3, 3, 4, 4, 4, 4, 5],
        [3, 3, 4, 4, 4, 4, 4],
        [3, 4, 4, 4, 4, 4, 4],
    ],
    dtype=np.int8,
)
_LOW_CEILING_M, _MIDDLE_CEILING_M = 2133.6, 4876.8  # 7000 and 16 000 ft

# SRDT, table 6-7. By day: rows by wind, columns by global radiation; by night: columns by the
# temperature difference, falling or not falling with height.
_SRDT_WIND, _SRDT_SOLAR = np.array([2.0, 3.0, 5.0, 6.0]), np.array([175.0, 675.0, 925.0])
_SRDT_DAY = np.array(
    [[4, 2, 1, 1], [4, 3, 2, 1], [4, 3, 2, 2], [4, 4, 3, 3], [4, 4, 4, 3]], dtype=np.int8
)
_SRDT_NIGHT_WIND = np.array([2.0, 2.5])
_SRDT_NIGHT = np.array([[5, 6], [4, 5], [4, 4]], dtype=np.int8)

# Direction deviation, tables 6-8a and 6-9: lower limits of A to E at 10 m over 15 cm roughness,
# exponents of the height correction, then the class for (row: class by deviation, column: wind).
_SPREAD_LIMITS = np.array([22.5, 17.5, 12.5, 7.5, 3.8])
_SPREAD_EXPONENTS = np.array([-0.06, -0.15, -0.17, -0.23, -0.38])
_SPREAD_DAY_WIND = np.array([3.0, 4.0, 6.0])
_SPREAD_DAY = np.array(
    [[1, 2, 3, 4], [2, 2, 3, 4], [3, 3, 3, 4], [4, 4, 4, 4], [4, 4, 4, 4], [4, 4, 4, 4]],
    dtype=np.int8,
)
_SPREAD_NIGHT_WIND = np.array([2.4, 2.9, 3.0, 3.6, 5.0])
_SPREAD_NIGHT = np.array(
    [
        [6, 6, 5, 5, 4, 4],
        [6, 5, 5, 4, 4, 4],
        [5, 4, 4, 4, 4, 4],
        [4, 4, 4, 4, 4, 4],
        [5, 5, 5, 5, 5, 4],
        [6, 6, 6, 5, 5, 4],
    ],
    dtype=np.int8,
)

# Golder (1972, Boundary-Layer Meteor. 3:47-58), 1/L = a + b log10(z0), as fitted in textbooks
# (values from memory); UNKNOWN, A, B, C, D, E, F, and G taken as F.
_GOLDER_A = np.array([np.nan, -0.096, -0.037, -0.002, 0.0, 0.004, 0.035, 0.035])
_GOLDER_B = np.array([np.nan, 0.029, 0.029, 0.018, 0.0, -0.018, -0.036, -0.036])


def turner_class(*, wind_m_s: ArrayLike, index: ArrayLike) -> Classes:
    """Return the class of Turner (1964) from the wind and the net radiation index, 4 to -2."""
    wind, i = _floats(wind_m_s, index)
    known = (wind >= 0) & (i <= 4) & (i >= -2)
    column = np.where(known, 4 - i, 0).astype(np.intp)
    return _look_up(_TURNER[_row(_TURNER_WIND, wind), column], known)


def net_radiation_index(
    *,
    elevation_deg: ArrayLike,
    night: ArrayLike,
    cloud_pct: ArrayLike,
    ceiling_m: ArrayLike = np.nan,
) -> Floats:
    """Return Turner's net radiation index, 4 (strong sun) to -2 (clear night).

    ``night`` is Turner's: from an hour before sunset to an hour after sunrise. An unknown (NaN)
    ceiling is read the stabler way: low by day, so that the sun heats less, high at night, so that
    the ground cools. Overcast takes one more off for any ceiling above 7000 ft, as the table's
    wording has it (the flow chart only below 16 000 ft: its reading differs for high overcast).
    """
    elevation, cloud, ceiling = _floats(elevation_deg, cloud_pct, ceiling_m)
    tenths = np.rint(cloud / 10.0)
    overcast = tenths >= 10
    insolation = 1.0 + (elevation > 15) + (elevation > 35) + (elevation > 60)
    low = ~(ceiling >= _LOW_CEILING_M)
    middle = ~low & (ceiling < _MIDDLE_CEILING_M)
    lowered = insolation - np.where(low, 2, np.where(middle, 1, 0)) - (overcast & ~low)
    day_index = np.where(tenths <= 5, insolation, np.maximum(lowered, 1))
    index = np.where(night, np.where(tenths <= 4, -2.0, -1.0), day_index)
    low_overcast = overcast & np.where(night, ceiling < _LOW_CEILING_M, low)
    index = np.where(low_overcast, 0.0, index)
    return np.where(np.isnan(cloud) | np.isnan(elevation), np.nan, index)


def srdt_class(
    *, wind_m_s: ArrayLike, night: ArrayLike, solar_w_m2: ArrayLike, difference_k: ArrayLike
) -> Classes:
    """Return the class of the solar radiation / delta-T scheme.

    By day from the global radiation, by night from the temperature at about 10 m less that at 2 m;
    each may be missing when it is the other's turn.
    """
    wind, solar, difference = _floats(wind_m_s, solar_w_m2, difference_k)
    by_day = _SRDT_DAY[_row(_SRDT_WIND, wind), _row(_SRDT_SOLAR, solar)]
    by_night = _SRDT_NIGHT[_row(_SRDT_NIGHT_WIND, wind), (difference >= 0).astype(np.intp)]
    known = (wind >= 0) & ~np.isnan(np.where(night, difference, solar))
    return _look_up(np.where(night, by_night, by_day), known)


def direction_class(
    *,
    spread_deg: ArrayLike,
    wind_m_s: ArrayLike,
    night: ArrayLike,
    height_m: ArrayLike = 10.0,
    roughness_m: ArrayLike = 0.15,
) -> Classes:
    """Return the class from the standard deviation of the direction, adjusted by the wind.

    The deviation's limits are scaled to the vane's height and the site's roughness (their
    exponents are values from memory). They were set for 15-minute deviations; over 10 minutes the
    direction wanders a little less.
    """
    spread, wind, height, roughness = _floats(spread_deg, wind_m_s, height_m, roughness_m)
    scale = (roughness / 0.15) ** 0.2
    limits = [
        limit * scale * (height / 10.0) ** exponent
        for limit, exponent in zip(_SPREAD_LIMITS, _SPREAD_EXPONENTS, strict=True)
    ]
    first = np.sum(np.broadcast_arrays(*(spread < limit for limit in limits)), axis=0)
    by_day = _SPREAD_DAY[first, _row(_SPREAD_DAY_WIND, wind)]
    by_night = _SPREAD_NIGHT[first, _row(_SPREAD_NIGHT_WIND, wind)]
    known = (spread >= 0) & (wind >= 0) & ~np.isnan(limits[0])
    return _look_up(np.where(night, by_night, by_day), known)


def obukhov_length(*, stability: ArrayLike, roughness_m: ArrayLike) -> Floats:
    """Return a typical Obukhov length of a class, m: negative unstable, infinite neutral.

    A guess from the class alone (Golder 1972), good to a factor of about two. UNKNOWN is NaN.
    """
    classes = np.asarray(stability, dtype=np.intp)
    (roughness,) = _floats(roughness_m)
    logarithm = np.log10(np.where(roughness > 0, roughness, np.nan))
    return _length(_GOLDER_A[classes] + _GOLDER_B[classes] * logarithm)


def obukhov_of_pair(
    *,
    temp_c: ArrayLike,
    temp_upper_c: ArrayLike,
    height_m: ArrayLike,
    upper_height_m: ArrayLike,
    wind_m_s: ArrayLike,
    wind_height_m: ArrayLike,
    surface: Surface = GRASS,
) -> Floats:
    """Return the Obukhov length from two thermometers and a wind, m: negative unstable.

    The profiles of wind and temperature that pass through both, found by halving 1/L between -1
    and 1 (a length of a metre). 0.2 K of error make a factor of two, and by day unventilated
    shields err by 0.3 to 1 K: for the night only. No wind is NaN.
    """
    t, upper, wind, wind_z = _floats(temp_c, temp_upper_c, wind_m_s, wind_height_m)
    z, upper_z = _floats(height_m, upper_height_m)
    lower_z, upper_z = z - surface.displacement_m, upper_z - surface.displacement_m
    rise = upper - t + DRY_LAPSE_K_M * (upper_z - lower_z)
    known = (wind > 0) & (lower_z > 0) & (upper_z > lower_z) & ~np.isnan(rise)
    rise, wind = np.where(known, rise, np.nan), np.where(known, wind, np.nan)
    lower_z, upper_z = np.where(known, lower_z, np.nan), np.where(known, upper_z, np.nan)
    kelvin = 0.5 * (t + upper) + 273.15

    def found(inverse: Floats) -> Floats:
        """The 1/L that the fluxes of an assumed one make."""
        length = 1.0 / np.where(inverse == 0, 1e-12, inverse)
        friction = KARMAN * wind / profile(wind_z, surface, length)
        layered = psi_heat(upper_z / length) - psi_heat(lower_z / length)
        warming = np.log(upper_z / lower_z) - layered
        return np.asarray(
            KARMAN**2 * GRAVITY_M_S2 * rise / (warming * friction**2 * kelvin), dtype=np.float64
        )

    low = np.where(rise > 0, 0.0, -1.0)
    high = low + 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        more = found(middle) > middle
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    inverse = np.where(rise == 0, 0.0, 0.5 * (low + high))
    return np.where(np.isnan(found(inverse)), np.nan, _length(inverse))


def _length(inverse: Floats) -> Floats:
    """Return the length of an inverse one; infinite for nothing: neutral air."""
    length = np.full(np.shape(inverse), np.inf)
    np.divide(1.0, inverse, out=length, where=np.asarray(inverse != 0))
    return length


def _floats(*values: ArrayLike) -> list[Floats]:
    return [np.asarray(v, dtype=np.float64) for v in values]


def _row(edges: Floats, values: Floats) -> NDArray[np.intp]:
    """Return the table row: an edge belongs to the row above it. NaN falls in the last row."""
    return np.searchsorted(edges, values, side="right")


def _look_up(classes: NDArray[np.generic], known: NDArray[np.bool_]) -> Classes:
    return np.where(known, classes, Stability.UNKNOWN).astype(np.int8)
