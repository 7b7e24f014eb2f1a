"""How far a value stands from its bounds: one function, used for every limit."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState
from watcher.weather.series import Floats

Stands = NDArray[np.int8]


@dataclass(frozen=True)
class Checked:
    """One limit against the weather. Arrays broadcast to [field, setup, time].

    ``headroom`` is the room to the nearer bound as a share of the quantity's working scale:
    negative when broken, infinite where the limit does not apply, NaN when the value is unknown.
    ``known`` says how the value is known, where that is not simply exactly: see ``Knowledge``.
    """

    limit: Limit
    value: Floats
    low: Floats
    high: Floats
    headroom: Floats
    stand: Stands
    known: Stands | None = None
    rule: NDArray[np.int8] | None = None
    """Which of the field's rules decides, by its place among them; -1: none, the window does."""

    def over(self, of: Callable[[NDArray[Any]], NDArray[Any]]) -> "Checked":
        """Return the check with every array handed through a function."""
        return Checked(
            self.limit,
            value=of(self.value),
            low=of(self.low),
            high=of(self.high),
            headroom=of(self.headroom),
            stand=of(self.stand),
            known=None if self.known is None else of(self.known),
            rule=None if self.rule is None else of(self.rule),
        )

    def part(self, times: slice) -> "Checked":
        """Return the check at some of the times."""
        return self.over(lambda a: a[..., times] if a.shape[-1:] > (1,) else a)


class Knowledge(IntEnum):
    """How a value is known: exactly, at most, at least. What is missing is NaN."""

    AT_LEAST = -1
    EXACT = 0
    AT_MOST = 1


def mixed(same: Sequence[Checked], mix: Callable[..., NDArray[Any]]) -> Checked:
    """Return checks of one limit as one; ``mix`` makes one array of those of each, in order."""

    def numbers(each: Sequence[NDArray[np.int8] | None], usual: int) -> NDArray[np.int8] | None:
        """What some have and others leave at its usual number."""
        if all(one is None for one in each):
            return None
        given = np.full(1, usual, dtype=np.int8)
        return mix(*(given if one is None else one for one in each))

    return Checked(
        same[0].limit,
        value=mix(*(c.value for c in same)),
        low=mix(*(c.low for c in same)),
        high=mix(*(c.high for c in same)),
        headroom=mix(*(c.headroom for c in same)),
        stand=mix(*(c.stand for c in same)),
        known=numbers([c.known for c in same], Knowledge.EXACT),
        rule=numbers([c.rule for c in same], -1),
    )


def between(
    limit: Limit,
    exact: Checked,
    least: Floats,
    most: Floats,
    *,
    scale: Floats,
    margin: Floats,
) -> Checked:
    """Check a value again where only bounds of it are known; NaN where a side is not.

    Where both ends are within, it surely is, and the worse end is shown; where both are beyond the
    same bound it surely is beyond, and the better end is shown. Elsewhere it is unknown.
    """
    bounds = {"low": exact.low, "high": exact.high, "scale": scale, "margin": margin}
    given = ~(np.isnan(least) & np.isnan(most))
    ends = [
        bounded(limit, np.where(np.isnan(least), -np.inf, least), **bounds),
        bounded(limit, np.where(np.isnan(most), np.inf, most), **bounds),
    ]
    stand = np.minimum(ends[0].stand, ends[1].stand)  # surely within: the worse of both
    over, under = least > exact.high, most < exact.low
    stand = np.where((stand == LimitState.BROKEN) & ~over & ~under, LimitState.UNKNOWN, stand)
    worse_above = ends[1].headroom <= ends[0].headroom
    at_most = np.where(over | under, under, worse_above)
    headroom = np.where(at_most, ends[1].headroom, ends[0].headroom)
    headroom = np.where(stand == LimitState.UNKNOWN, np.nan, headroom)
    given, at_most = np.broadcast_arrays(given, at_most)
    given = np.broadcast_to(given, np.broadcast_shapes(given.shape, exact.stand.shape))
    known = np.where(at_most, Knowledge.AT_MOST, Knowledge.AT_LEAST)
    nearer = np.where(at_most, most, least)
    return Checked(
        limit,
        np.where(given, nearer, exact.value),
        exact.low,
        exact.high,
        np.where(given, headroom, exact.headroom),
        np.where(given, stand, exact.stand).astype(np.int8),
        np.where(given, known, Knowledge.EXACT).astype(np.int8),
    )


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
