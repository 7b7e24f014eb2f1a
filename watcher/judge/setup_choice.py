"""Which setup a field should be sprayed with: the best status first, then the least drift."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.judge.judgement import Judgement, Statuses
from watcher.limits.catalogue import LIFTED_BY_SETUP_ALONE
from watcher.limits.farm_arrays import Bools
from watcher.limits.status import LimitState, Status
from watcher.weather.series import Floats


def choose_setup(judgement: Judgement, field: int, time: int) -> int | None:
    """The setup to use, as an index; None where no setup may be used on the field at all.

    Among the setups of the best status, whose loss of control the field stands, the one that
    drifts least, then the one that gives up least control, then the first listed. Where none is
    open, the one that comes closest, of those first that the weather could open.
    """
    chosen = choose_setups(judgement, field, slice(time, time + 1))
    return int(chosen[0]) if chosen.size else None


def choose_setups(judgement: Judgement, field: int, times: slice) -> NDArray[np.intp]:
    """The setup to use at each of some times. [T]; empty where none may be used at all."""
    plan, judgement = judgement.plan, judgement.of_field(field)
    if not plan.allowed[field].any():
        return np.empty(0, dtype=np.intp)

    def taken(array: NDArray[Any]) -> NDArray[Any]:
        """The field's of an array that broadcasts to [F, S, T], as [T, S]."""
        return np.broadcast_to(array, judgement.instant.shape)[field, :, times].T

    candidates = _Candidates(
        allowed=plan.allowed[field],
        status=taken(judgement.status),
        loss_pct=plan.loss_pct[field],
        drift=np.where(plan.drift_estimated, taken(judgement.drift.upper), np.inf),
        stands=np.array([taken(checked.stand) for checked in judgement.checks]),
        rooms=np.array([taken(checked.headroom) for checked in judgement.checks]),
        of_setup=[checked.limit in LIFTED_BY_SETUP_ALONE for checked in judgement.checks],
    )
    return candidates.best()


def choose_each(judgement: Judgement, time: int) -> NDArray[np.intp]:
    """The setup to use on each field at one time, by the same rule. [F]; -1 where none may be."""
    plan = judgement.plan

    def taken(array: NDArray[Any]) -> NDArray[Any]:
        """The moment's of an array that broadcasts to [F, S, T] or [K, S, T], as [F, S]."""
        moment = array[..., time : time + 1] if array.shape[-1:] > (1,) else array
        shape = (*judgement.instant.shape[:2], 1)
        return np.broadcast_to(plan.of_fields(moment), shape)[:, :, 0]

    drift = taken(judgement.drift.upper).copy()
    for field, own in judgement.apart.items():
        drift[field] = own.drift.upper[field, :, time]
    candidates = _Candidates(
        allowed=plan.allowed,
        status=taken(judgement.status),
        loss_pct=plan.loss_pct,
        drift=np.where(plan.drift_estimated, drift, np.inf),
        stands=np.array([taken(checked.stand) for checked in judgement.found]),
        rooms=np.array([taken(checked.headroom) for checked in judgement.found]),
        of_setup=[checked.limit in LIFTED_BY_SETUP_ALONE for checked in judgement.found],
    )
    return np.where(plan.allowed.any(axis=1), candidates.best(), -1)


@dataclass(frozen=True)
class _Candidates:
    """The setups of a number of cases, to choose one for each. Broadcast to [N, S]."""

    allowed: Bools
    status: Statuses
    loss_pct: Floats
    drift: Floats
    stands: NDArray[np.int8]
    """How every limit stands. [L, N, S]"""
    rooms: Floats
    """Room to every limit. [L, N, S]"""
    of_setup: list[bool]
    """Which limits no weather lifts. [L]"""

    def best(self) -> NDArray[np.intp]:
        """The place of the best setup of each case; some setup where none is allowed. [N]"""
        status = np.where(self.allowed, self.status, np.iinfo(np.int8).min)
        best = status.max(axis=1, keepdims=True)
        opened = best >= Status.MARGINAL
        not_holding = self.stands <= LimitState.UNKNOWN
        broken = not_holding.sum(axis=0).astype(np.float64)
        shut_for_good = not_holding[self.of_setup].sum(axis=0)
        room = np.nan_to_num(self.rooms, nan=0.0, posinf=np.inf).min(axis=0)
        loss = np.broadcast_to(self.loss_pct, status.shape)
        order = np.lexsort(
            (
                loss,
                np.where(opened, 0.0, -room),
                np.where(opened, self.drift, broken),
                np.where(opened, 0, shut_for_good),
                status < best,
            )
        )
        return order[:, 0]
