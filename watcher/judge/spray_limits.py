"""Limits on the spray: droplet class, and how much weed control the setup gives up."""

from collections.abc import Iterator

import numpy as np

from watcher.judge.air_limits import BoomWind
from watcher.judge.limits import Checked, Stands, bounded, ruled
from watcher.judge.plan import Plan
from watcher.judge.status import Band, Limit, Stand


def spray_limits(plan: Plan, boom: BoomWind) -> Iterator[Checked]:
    """Yield the checked limits on droplets and control. [F, S, 1] but for the wind's [F, S, T]."""
    droplets = plan.droplets.astype(np.float64)[None, :, None]
    fine = plan.droplets[None, :] < plan.least_droplets[:, None]
    yield ruled(Limit.DROPLETS, droplets, _broken_where(fine)[:, :, None])

    fine_for_wind = plan.droplets[None, :] < plan.least_droplets_in_marginal_wind[:, None]
    stand = _broken_where(fine_for_wind[:, :, None] & (boom.band == Band.MARGINAL))
    # Without a wind nobody knows which droplets it asks for.
    stand[fine_for_wind[:, :, None] & (boom.band == Band.UNKNOWN)] = Stand.UNKNOWN
    yield ruled(Limit.DROPLETS_IN_WIND, droplets, stand)

    tolerated = plan.loss_tolerated_pct[:, None, None]
    yield bounded(
        Limit.CONTROL,
        plan.loss_pct[:, :, None],
        low=np.asarray(-np.inf),
        high=tolerated,
        scale=tolerated,
        margin=np.asarray(plan.farm.told.judging.margin),
    )


def _broken_where(condition: np.ndarray) -> Stands:
    return np.where(condition, Stand.BROKEN, Stand.HOLDS).astype(np.int8)
