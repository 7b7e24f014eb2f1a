"""The spaces in which a quantity's errors are alike, and what is expected of them beforehand.

Wind as its root, gust as the logarithm of its ratio to the wind, temperature and dew point as they
are, direction as an angle whose error falls with speed. The priors are those of experience with
hourly point forecasts (a choice, no source); a station's own errors take over as they come in.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from watcher.weather.series import Floats

_LEAST_WIND_M_S = 0.7
"""Under it a ratio to the wind, or an angle, says nothing."""


@dataclass(frozen=True)
class Space:
    """One quantity's space. ``spread`` is the prior standard deviation of an error: so much at
    once, and so much more an hour of lead."""

    name: str
    spread: float
    spread_an_hour: float
    offset: tuple[float, float, float, float]
    """Prior standard deviations of the offset: constant, by the forecast itself, by the cosine and
    the sine of the hour."""

    def prior_spread(self, lead_h: ArrayLike) -> Floats:
        """Return the prior standard deviation of an error at a lead."""
        return self.spread + self.spread_an_hour * np.maximum(np.asarray(lead_h, np.float64), 0.0)


WIND = Space("wind_m_s", 0.38, 0.003, (0.25, 0.25, 0.15, 0.15))
GUST = Space("gust_m_s", 0.25, 0.001, (0.20, 0.25, 0.10, 0.10))
TEMP = Space("temp_c", 1.3, 0.02, (1.0, 0.25, 0.6, 0.6))
DEW_POINT = Space("dew_point_c", 1.3, 0.02, (1.0, 0.25, 0.6, 0.6))
DIRECTION = Space("wind_from_deg", 1.0, 0.01, (0.3, 0.0, 0.2, 0.2))
"""In units of what an angle's error is at its speed."""

SPACES = (WIND, GUST, TEMP, DEW_POINT, DIRECTION)
Value = Callable[[str], Floats]


def into(space: Space, value: Value) -> Floats:
    """Return a quantity in its space; ``value`` gives the arrays of the same weather by name.

    A direction has no space of its own: only its errors have one.
    """
    if space is WIND:
        return np.sqrt(np.maximum(value("wind_m_s"), 0.0))
    if space is GUST:
        wind = np.maximum(value("wind_m_s"), _LEAST_WIND_M_S)
        return np.asarray(np.log(np.maximum(value("gust_m_s") / wind, 1.0)))
    return value(space.name)


def out_of(space: Space, values: Floats, wind_m_s: Floats) -> Floats:
    """Return values of a space in the quantity's own unit; a gust is never below its wind."""
    if space is WIND:
        return np.asarray(np.maximum(values, 0.0) ** 2)
    if space is GUST:
        strongest = np.maximum(wind_m_s, _LEAST_WIND_M_S) * np.exp(values)
        return np.asarray(np.maximum(wind_m_s, strongest))
    return values % 360.0 if space is DIRECTION else values


def error(space: Space, measured: Value, foretold: Value) -> Floats:
    """Return what was measured less what was foretold, in the quantity's space."""
    difference = into(space, measured) - into(space, foretold)
    if space is DIRECTION:
        turned = (difference + 180.0) % 360.0 - 180.0
        return turned / angle_deg(foretold("wind_m_s"))
    return difference


def angle_deg(wind_m_s: ArrayLike) -> Floats:
    """Return how far a foretold direction is usually off at a foretold speed."""
    return np.hypot(15.0, 60.0 / np.maximum(np.asarray(wind_m_s, np.float64), _LEAST_WIND_M_S))
