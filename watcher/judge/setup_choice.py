"""Which setup a field should be sprayed with: the best status first, then the least drift."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.judge.judgement import Judgement, Statuses
from watcher.limits.catalogue import LIFTED_BY_SETUP_ALONE
from watcher.limits.check import Checked
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

    return _best(
        taken,
        judgement.checks,
        plan.allowed[field],
        taken(judgement.status),
        loss_pct=plan.loss_pct[field],
        drift=np.where(plan.drift_estimated, taken(judgement.drift.upper), np.inf),
    )


def choose_each(judgement: Judgement, time: int) -> NDArray[np.intp]:
    """The setup to use on each field at one time, by the same rule. [F]; -1 where none may be."""
    plan = judgement.plan
    apart, now = judgement.apart, time
    judgement, time = judgement.around(now)

    def taken(array: NDArray[Any]) -> NDArray[Any]:
        """The moment's of an array that broadcasts to [F, S, T] or [K, S, T], as [F, S]."""
        moment = array[..., time : time + 1] if array.shape[-1:] > (1,) else array
        shape = (*judgement.instant.shape[:2], 1)
        return np.broadcast_to(plan.of_fields(moment), shape)[:, :, 0]

    drift = taken(judgement.drift.upper).copy()
    for field, own in apart.items():
        here, index = own.around(now)
        drift[field] = here.drift.upper[field, :, index]
    best = _best(
        taken,
        judgement.found,
        plan.allowed,
        taken(judgement.status),
        loss_pct=plan.loss_pct,
        drift=np.where(plan.drift_estimated, drift, np.inf),
    )
    return np.where(plan.allowed.any(axis=1), best, -1)


def _best(
    taken: Callable[[NDArray[Any]], NDArray[Any]],
    checks: Sequence[Checked],
    allowed: Bools,
    status: Statuses,
    *,
    loss_pct: Floats,
    drift: Floats,
) -> NDArray[np.intp]:
    """The place of the best setup of each case; some setup where none is allowed. [N]

    ``taken`` takes the cases out of a check's arrays, [N, S]; the others broadcast to that.
    """
    status = np.where(allowed, status, np.iinfo(np.int8).min)
    best = status.max(axis=1, keepdims=True)
    opened = best >= Status.MARGINAL
    not_holding = np.array([taken(checked.stand) for checked in checks]) <= LimitState.UNKNOWN
    of_setup = [checked.limit in LIFTED_BY_SETUP_ALONE for checked in checks]
    rooms = np.array([taken(checked.headroom) for checked in checks])
    room = np.nan_to_num(rooms, nan=0.0, posinf=np.inf).min(axis=0)
    order = np.lexsort(
        (
            np.broadcast_to(loss_pct, status.shape),
            np.where(opened, 0.0, -room),
            np.where(opened, drift, not_holding.sum(axis=0)),
            np.where(opened, 0, not_holding[of_setup].sum(axis=0)),
            status < best,
        )
    )
    return order[:, 0]
