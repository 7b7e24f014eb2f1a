"""How warm or windy a whole day of a place and season can be, at the very most.

Wide on purpose: it finds values in a wrong unit, and refuses no record. The yearly mean by latitude
is that of North's energy balance model (North 1975, J. Atmos. Sci. 32: 2033, his fit to observed
zonal means; from memory). The swings of the seasons and the margin have no source: they hold the
record days of Yakutia, Oklahoma, the Sahara and Ireland (``tests/sources/test_climate.py``).
"""

from datetime import UTC, datetime
from math import cos, isfinite, pi, radians, sin
from typing import NamedTuple

from watcher.weather.series import Site

MEAN_C, POLEWARD_C = 15.0, -28.0
"""Mean of the earth and what the second Legendre polynomial of the sine of latitude takes off."""
SUMMER_K, WINTER_K = 22.0, 39.0
"""Swing at the pole of a continent's summer and winter; an ocean has next to none."""
MARGIN_K = 22.0
"""What a day may differ from its season."""
LAPSE_K_M = 0.0065
"""Standard atmosphere."""
WARMEST_DAY = 200
"""Of the year, north of the equator."""
GALE_M_S = 17.2
"""Beaufort 8: no day over farmland has it for a mean (no source)."""


class ClimateRange(NamedTuple):
    """From the least to the most that can be."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        """Whether a value can be."""
        return self.low <= value <= self.high


def day_mean_c(site: Site, at: int) -> ClimateRange:
    """Return between what the mean temperature of a day lies. ``at`` is epoch seconds."""
    if not isfinite(site.latitude):
        return ClimateRange(-80.0, 60.0)
    sine = sin(radians(site.latitude))
    year = MEAN_C + POLEWARD_C * (3.0 * sine**2 - 1.0) / 2.0
    if isfinite(site.elevation_m):
        year -= LAPSE_K_M * site.elevation_m
    day = datetime.fromtimestamp(at, UTC).timetuple().tm_yday
    season = cos(2.0 * pi * (day - WARMEST_DAY) / 365.25) * sine
    return ClimateRange(
        low=year + WINTER_K * min(season, 0.0) - MARGIN_K,
        high=year + SUMMER_K * max(season, 0.0) + MARGIN_K,
    )
