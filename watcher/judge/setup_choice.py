"""Which setup a field should be sprayed with: the best status first, then the best weed control."""

import numpy as np

from watcher.judge.judgement import Judgement
from watcher.judge.status import Status
from watcher.weather.series import Floats


def least_headroom(judgement: Judgement, field: int, time: int) -> Floats:
    """Room of the limit that binds, for every setup; unknown limits count as no room. [S]"""
    shape = judgement.instant.shape
    rooms = [
        np.broadcast_to(checked.headroom, shape)[field, :, time] for checked in judgement.checks
    ]
    return np.min(np.nan_to_num(np.array(rooms), nan=0.0), axis=0)


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
        keys = (best, -plan.droplets[best], plan.loss_pct[field, best])
    else:
        keys = (best, plan.loss_pct[field, best], -least_headroom(judgement, field, time)[best])
    return int(best[np.lexsort(keys)[0]])
