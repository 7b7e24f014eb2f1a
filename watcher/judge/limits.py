"""How far a value stands from its bounds: one function, used for every limit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.judge.status import Limit
from watcher.weather.series import Floats

Stands = NDArray[np.int8]


@dataclass(frozen=True)
class Checked:
    """One limit against the weather. Arrays broadcast to [field, setup, time].

    ``headroom`` is the room to the nearer bound as a share of the quantity's working scale:
    negative when broken, infinite where the limit does not apply, NaN when the value is unknown.
    """

    limit: Limit
    value: Floats
    low: Floats
    high: Floats
    headroom: Floats
    stand: Stands


def bounded(
    limit: Limit, value: Floats, *, low: Floats, high: Floats, scale: Floats, margin: Floats
) -> Checked:
    """Check a value against bounds; minus or plus infinity where a side has none."""
    with np.errstate(invalid="ignore"):  # infinite value, no bound: there is room
        headroom = _room(value, low, high)
        headroom /= scale  # in place: megabytes for many fields
    # Stand's own numbers: 3 past the margin, 2 past the bound, 0 past neither, and 1 for NaN.
    stand: Stands = (headroom >= margin) + 2 * (headroom >= 0).view(np.int8)
    stand += np.isnan(headroom)
    return Checked(limit, value, low, high, headroom, stand)


def _room(value: Floats, low: Floats, high: Floats) -> Floats:
    """Distance to the nearer bound; infinite where there is none, whatever the value."""
    no_low, no_high = np.isneginf(low), np.isposinf(high)
    if no_high.all():
        room = value - low
    elif no_low.all():
        room = high - value
    else:
        room = np.minimum(value - low, np.where(no_high, np.inf, high - value))
    free = no_low & no_high
    return np.where(free, np.inf, room) if free.any() else room


_ROOM = np.array([-1.0, np.nan, 0.0, np.inf])


def ruled(limit: Limit, value: Floats, stand: Stands, *, low: float = np.nan) -> Checked:
    """Check by a rule that has no distance: broken counts as a whole scale, near as no room."""
    bound = np.asarray(low, dtype=np.float64)
    return Checked(limit, value, bound, np.asarray(np.nan), _ROOM[stand], stand)
