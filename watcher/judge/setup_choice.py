"""Which setup a field should be sprayed with: the best status first, then the best weed control."""

import numpy as np

from watcher.judge.judgement import Judgement
from watcher.judge.status import Stand, Status
from watcher.weather.series import Floats


def choose_setup(judgement: Judgement, field: int, time: int) -> int | None:
    """The setup to use, as an index; None where no setup may be used on the field at all.

    Among the setups of the best status the one that gives up least weed control, then the one
    that drifts least, then the first told. Where none is open, the one that comes closest.
    """
    plan = judgement.plan
    usable = np.flatnonzero(plan.allowed[field])
    if not usable.size:
        return None
    status = judgement.status[field, usable, time]
    best = usable[status == status.max()]
    if status.max() >= Status.MARGINAL:
        drifts = judgement.drift.upper[field, best, time]
        order = np.lexsort((best, drifts, plan.loss_pct[field, best]))
    else:
        broken, room = _shortfall(judgement, field, time)
        order = np.lexsort((best, plan.loss_pct[field, best], -room[best], broken[best]))
    return int(best[order[0]])


def _shortfall(judgement: Judgement, field: int, time: int) -> tuple[Floats, Floats]:
    """For every setup how many limits do not hold, and the room of the worst of them. [S] each"""
    shape = judgement.instant.shape
    rooms, broken = [], np.zeros(shape[1])
    for checked in judgement.checks:
        room = np.broadcast_to(checked.headroom, shape)[field, :, time]
        rooms.append(np.nan_to_num(room, nan=0.0, posinf=np.inf))
        broken += np.broadcast_to(checked.stand, shape)[field, :, time] <= Stand.UNKNOWN
    return broken, np.min(np.array(rooms), axis=0)
