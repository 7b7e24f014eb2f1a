"""Quality control of observations on arrival."""

from collections.abc import Iterable

import numpy as np

from watcher.sources.base import Flag, Flags
from watcher.weather.series import Seconds

AHEAD_S = 120
"""How far a station's clock may run ahead (common practice, no source)."""


def future_flags(times: Seconds, names: Iterable[str], now: int) -> Flags:
    """Return ``Flag.FUTURE`` for every value of a time more than two minutes ahead of ``now``."""
    ahead = np.where(times > now + AHEAD_S, Flag.FUTURE, Flag.GOOD).astype(np.uint16)
    return {name: ahead.copy() for name in names} if ahead.any() else {}
