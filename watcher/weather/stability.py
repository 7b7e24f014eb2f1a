"""How stable the air near the ground is: the published schemes, each with its table.

Winds are 10 m winds. Every function broadcasts; a missing input makes the class ``UNKNOWN`` (or the
number NaN) wherever the scheme would have needed it. Tables: EPA-454/R-99-005, Meteorological
Monitoring Guidance for Regulatory Modeling Applications, section 6.4.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Classes = NDArray[np.int8]

GRAVITY_M_S2 = 9.80665
DRY_LAPSE_K_M = 0.0098


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


def bulk_richardson(
    *,
    temp_c: ArrayLike,
    temp_upper_c: ArrayLike,
    wind_m_s: ArrayLike,
    wind_upper_m_s: ArrayLike,
    height_m: ArrayLike,
    upper_height_m: ArrayLike,
) -> Floats:
    """Return the bulk Richardson number between two heights, each with its wind and temperature.

    Above about 0.25 turbulence is put out, below 0 it is fed (textbook values). The temperature
    difference is that of potential temperature: the dry lapse is added. Equal winds give NaN.
    """
    t, upper, wind, upper_wind = _floats(temp_c, temp_upper_c, wind_m_s, wind_upper_m_s)
    z, upper_z = _floats(height_m, upper_height_m)
    potential, upper_potential = (
        kelvin + 273.15 + DRY_LAPSE_K_M * height for kelvin, height in ((t, z), (upper, upper_z))
    )
    shear: Floats = np.where(upper_wind == wind, np.nan, upper_wind - wind)
    buoyancy = GRAVITY_M_S2 / (0.5 * (potential + upper_potential))
    return buoyancy * (upper_potential - potential) * (upper_z - z) / shear**2


def obukhov_length(*, stability: ArrayLike, roughness_m: ArrayLike) -> Floats:
    """Return a typical Obukhov length of a class, m: negative unstable, infinite neutral.

    A guess from the class alone (Golder 1972), good to a factor of about two. UNKNOWN is NaN.
    """
    classes = np.asarray(stability, dtype=np.intp)
    (roughness,) = _floats(roughness_m)
    logarithm = np.log10(np.where(roughness > 0, roughness, np.nan))
    inverse = _GOLDER_A[classes] + _GOLDER_B[classes] * logarithm
    neutral = inverse == 0
    return np.where(neutral, np.inf, 1.0 / np.where(neutral, 1.0, inverse))


def _floats(*values: ArrayLike) -> list[Floats]:
    return [np.asarray(v, dtype=np.float64) for v in values]


def _row(edges: Floats, values: Floats) -> NDArray[np.intp]:
    """Return the table row: an edge belongs to the row above it. NaN falls in the last row."""
    return np.searchsorted(edges, values, side="right")


def _look_up(classes: NDArray[np.generic], known: NDArray[np.bool_]) -> Classes:
    return np.where(known, classes, Stability.UNKNOWN).astype(np.int8)
