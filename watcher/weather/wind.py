"""Wind as a vector: directions that wrap round at north, their means, their spread.

A direction is where the wind comes FROM, degrees from true north clockwise, 0 to 360. Every
function broadcasts its arguments and gives NaN wherever one is NaN or outside its stated range.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Below this a wind has no direction (WMO-No. 8 reports a wind under 0.5 m/s as calm).
CALM_M_S = 0.5
# Fewer of its samples than this make no mean (from memory: the WMO asks for two thirds).
LEAST_SHARE = 0.75


def toward(from_deg: ArrayLike) -> Floats:
    """Return the bearing the wind blows TOWARDS, degrees 0 to 360."""
    return (np.asarray(from_deg, dtype=np.float64) + 180.0) % 360.0


def angle_between(a_deg: ArrayLike, b_deg: ArrayLike) -> Floats:
    """Return the smaller angle between two bearings, degrees, 0 to 180, right across north."""
    turn = (np.asarray(a_deg, dtype=np.float64) - np.asarray(b_deg, dtype=np.float64)) % 360.0
    return np.minimum(turn, 360.0 - turn)


def direction_mean(
    from_deg: ArrayLike,
    *,
    wind_m_s: ArrayLike | None = None,
    axis: int = -1,
    least_share: float = LEAST_SHARE,
) -> Floats:
    """Return the mean direction along ``axis``, degrees: of unit vectors, or of the winds if given.

    Missing directions are left out, with ``wind_m_s`` those of calm winds too; fewer than
    ``least_share`` left, or directions that cancel out, have no mean: NaN.
    """
    return direction_of(*_mean_vector(from_deg, wind_m_s, axis, least_share))


def yamartino(from_deg: ArrayLike, *, axis: int = -1, least_share: float = LEAST_SHARE) -> Floats:
    """Return the standard deviation of the direction along ``axis``, degrees, 0 to 103.9.

    Yamartino (1984, J. Climate Appl. Meteor. 23:1362-1366), single pass. Missing directions are
    left out; fewer than ``least_share`` left is NaN.
    """
    sine, cosine = _mean_vector(from_deg, None, axis, least_share)
    return spread_of_mean_vector(sine, cosine)


def direction_of(sine: Floats, cosine: Floats) -> Floats:
    """Return the direction of a mean sine and cosine, degrees; NaN where they cancel out."""
    # Opposite winds leave only rounding, which points nowhere.
    pointing = np.hypot(sine, cosine) > 1e-9
    return np.where(pointing, np.degrees(np.arctan2(sine, cosine)) % 360.0, np.nan)


def spread_of_mean_vector(sine: Floats, cosine: Floats) -> Floats:
    """Return Yamartino's deviation, degrees, from the mean sine and cosine of the directions."""
    epsilon = np.sqrt(np.maximum(1.0 - (sine * sine + cosine * cosine), 0.0))
    spread: Floats = np.arcsin(epsilon) * (1.0 + (2.0 / np.sqrt(3.0) - 1.0) * epsilon**3)
    return np.degrees(spread)


def component_toward(*, wind_m_s: ArrayLike, from_deg: ArrayLike, bearing_deg: ArrayLike) -> Floats:
    """Return the part of the wind that blows towards a bearing, m/s; negative blows away."""
    along = np.radians(toward(from_deg) - np.asarray(bearing_deg, dtype=np.float64))
    return np.asarray(wind_m_s, dtype=np.float64) * np.cos(along)


def eastward_northward(*, wind_m_s: ArrayLike, from_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Return the components (u, v) of the wind, m/s, positive towards east and north."""
    wind = np.asarray(wind_m_s, dtype=np.float64)
    angle = np.radians(np.asarray(from_deg, dtype=np.float64))
    return -wind * np.sin(angle), -wind * np.cos(angle)


def speed_from(
    *, east_m_s: ArrayLike, north_m_s: ArrayLike, calm_m_s: float = CALM_M_S
) -> tuple[Floats, Floats]:
    """Return (wind m/s, direction it comes from); below ``calm_m_s`` the direction is NaN."""
    u, v = np.asarray(east_m_s, dtype=np.float64), np.asarray(north_m_s, dtype=np.float64)
    speed = np.hypot(u, v)
    from_deg = np.degrees(np.arctan2(-u, -v)) % 360.0
    return speed, np.where(speed >= calm_m_s, from_deg, np.nan)


def _mean_vector(
    from_deg: ArrayLike, wind_m_s: ArrayLike | None, axis: int, least_share: float
) -> tuple[Floats, Floats]:
    """Return the means of the sine and cosine, NaN with too few directions."""
    angle = np.radians(np.asarray(from_deg, dtype=np.float64))
    weight = np.asarray(1.0 if wind_m_s is None else wind_m_s, dtype=np.float64)
    known = ~np.isnan(angle) & (weight >= (0.0 if wind_m_s is None else CALM_M_S))
    count = known.sum(axis=axis)
    enough = (count > 0) & (count >= least_share * known.shape[axis])
    number = np.where(enough, count, np.nan)
    sine, cosine = (
        np.where(known, weight * f(angle), 0.0).sum(axis=axis) / number for f in (np.sin, np.cos)
    )
    return sine, cosine
