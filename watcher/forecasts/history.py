"""Past forecasts with what came of them, laid out by hours from the moment they were in hand.

Axes: I feeds, J moments at which forecasts were in hand, oldest first, K the hours of ``PATH_H``.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from watcher.weather.series import Floats, Seconds

HOUR_S = 3600
DAY_S = 24 * HOUR_S
PATH_H = np.arange(-2, 73)
"""Hours of a path, counted from the last whole hour that was measured when the forecast was in
hand. The hours up to 0 are known by then; 1 is the hour that is running."""
KNOWN = PATH_H <= 0
AHEAD = PATH_H > 0
_SOLAR_DEGREES_AN_HOUR = 15.0


@dataclass(frozen=True)
class History:
    """What each feed foretold and what the station measured. The last moment is the present.

    ``foretold`` [I, J, K] and ``measured`` [J, K] hold arrays by the names of ``WeatherSeries``,
    in its units; NaN for missing, as every hour that has not been measured yet.
    """

    at: Seconds
    """The hour 0 of each moment's path. [J], epoch seconds, rising"""
    longitude: float
    foretold: Mapping[str, Floats]
    measured: Mapping[str, Floats]

    @property
    def times(self) -> Seconds:
        """When each hour of each path begins. [J, K]"""
        return self.at[:, None] + HOUR_S * PATH_H

    @property
    def sun_hour(self) -> Floats:
        """The hour of the sun's day as an angle. [J, K], rad"""
        by_longitude = self.times / HOUR_S + self.longitude / _SOLAR_DEGREES_AN_HOUR
        return np.asarray(by_longitude * (2.0 * np.pi / 24.0))

    @property
    def age_days(self) -> Floats:
        """How long ago each hour was, at the present moment; none lies ahead of it. [J, K]"""
        return np.asarray(np.maximum((self.at[-1] - self.times) / DAY_S, 0.0))
