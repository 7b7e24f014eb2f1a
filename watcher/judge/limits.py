"""How far a value stands from its bounds: one function, used for every limit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.judge.status import Limit, Stand
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
        room_above = np.where(np.isposinf(high), np.inf, high - value)
    headroom = np.minimum(value - low, room_above) / scale
    headroom = np.where(np.isneginf(low) & np.isposinf(high), np.inf, headroom)
    stand = np.full(headroom.shape, Stand.HOLDS, dtype=np.int8)
    stand[headroom < margin] = Stand.NEAR
    stand[headroom < 0] = Stand.BROKEN
    stand[np.isnan(headroom)] = Stand.UNKNOWN
    return Checked(limit, value, low, high, headroom, stand)


_ROOM = np.array([-1.0, np.nan, 0.0, np.inf])


def ruled(limit: Limit, value: Floats, stand: Stands, *, low: float = np.nan) -> Checked:
    """Check by a rule that has no distance: broken counts as a whole scale, near as no room."""
    bound = np.asarray(low, dtype=np.float64)
    return Checked(limit, value, bound, np.asarray(np.nan), _ROOM[stand], stand)
