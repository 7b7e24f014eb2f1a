"""Limits on the spray: droplet class, and how much weed control the setup gives up."""

from collections.abc import Iterator

import numpy as np

from watcher.limits.boom_wind import BoomWind
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, Stands, bounded, ruled
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Band, LimitState


def spray_limits(plan: FarmArrays, boom: BoomWind) -> Iterator[Checked]:
    """Yield the checked limits on droplets and control. [F, S, 1] but for the wind's [F, S, T]."""
    counted = plan.droplets_for(w.droplets for w in plan.windows)
    fine = counted < plan.least_droplets[:, None]
    droplets = counted.astype(np.float64)[:, :, None]
    yield ruled(Limit.DROPLETS, droplets, _broken_where(fine)[:, :, None])

    counted = plan.droplets_for(w.droplets_in_marginal_wind for w in plan.windows)
    fine_for_wind = counted < plan.least_droplets_in_marginal_wind[:, None]
    droplets = counted.astype(np.float64)[:, :, None]
    stand = _broken_where(fine_for_wind[:, :, None] & (boom.band == Band.MARGINAL))
    # Without a wind nobody knows which droplets it asks for.
    stand[fine_for_wind[:, :, None] & (boom.band == Band.UNKNOWN)] = LimitState.UNKNOWN
    yield ruled(Limit.DROPLETS_IN_WIND, droplets, stand)

    tolerated = plan.loss_tolerated_pct[:, None, None]
    yield bounded(
        Limit.CONTROL,
        plan.loss_pct[:, :, None],
        low=np.asarray(-np.inf),
        high=tolerated,
        scale=tolerated,
        margin=np.asarray(plan.farm.config.judging.margin),
    )


def _broken_where(condition: np.ndarray) -> Stands:
    return np.where(condition, LimitState.BROKEN, LimitState.HOLDS).astype(np.int8)
