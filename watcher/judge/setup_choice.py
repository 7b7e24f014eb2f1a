"""Which setup a field should be sprayed with: the best status first, then the best weed control."""

import numpy as np
from numpy.typing import NDArray

from watcher.judge.judgement import Judgement
from watcher.limits.status import LimitState, Status
from watcher.weather.series import Floats


def choose_setup(judgement: Judgement, field: int, time: int) -> int | None:
    """The setup to use, as an index; None where no setup may be used on the field at all.

    Among the setups of the best status the one that gives up least weed control, then the one
    that drifts least, then the first listed. Where none is open, the one that comes closest.
    """
    chosen = choose_setups(judgement, field, slice(time, time + 1))
    return int(chosen[0]) if chosen.size else None


def choose_setups(judgement: Judgement, field: int, times: slice) -> NDArray[np.intp]:
    """The setup to use at each of some times. [T]; empty where none may be used at all."""
    plan = judgement.plan
    usable = np.flatnonzero(plan.allowed[field])
    if not usable.size:
        return np.empty(0, dtype=np.intp)
    status = judgement.status[field, usable, times].T  # [T, S]
    best = status.max(axis=1, keepdims=True)
    opened = best >= Status.MARGINAL
    estimated = plan.drift_estimated[usable]
    drifts = np.where(estimated, judgement.drift.upper[field, usable, times].T, np.inf)
    loss = np.broadcast_to(plan.loss_pct[field, usable], status.shape)
    broken, room = _shortfall(judgement, field, usable, times)
    order = np.lexsort(
        (
            np.where(opened, 0.0, loss),
            np.where(opened, drifts, -room),
            np.where(opened, loss, broken),
            status < best,
        )
    )
    return usable[order[:, 0]]


def _shortfall(
    judgement: Judgement, field: int, usable: NDArray[np.intp], times: slice
) -> tuple[Floats, Floats]:
    """For every setup how many limits do not hold, and the room of the worst. [T, S] each"""
    shape = judgement.instant.shape
    stands, rooms = [], []
    for checked in judgement.checks:
        stands.append(np.broadcast_to(checked.stand, shape)[field, usable, times].T)
        room = np.broadcast_to(checked.headroom, shape)[field, usable, times].T
        rooms.append(np.nan_to_num(room, nan=0.0, posinf=np.inf))
    broken = (np.array(stands) <= LimitState.UNKNOWN).sum(axis=0)
    return broken.astype(np.float64), np.array(rooms).min(axis=0)
