"""Limits towards neighbours: the wind-direction rule and the label's no-spray distance."""

from collections.abc import Iterator

import numpy as np

from watcher.farm.models import Downwind, Susceptibility
from watcher.judge.air_limits import BoomWind
from watcher.judge.downwind import gap_downwind, sector
from watcher.judge.limits import Checked, Stands, bounded, ruled
from watcher.judge.plan import Bools, Plan
from watcher.judge.status import Band, Limit, Stand
from watcher.weather.series import Floats, WeatherSeries


def neighbour_limits(plan: Plan, series: WeatherSeries, boom: BoomWind) -> Iterator[Checked]:
    """Yield the checked limits towards neighbours; nothing where no field has one in reach."""
    if not plan.reach.pair_field.size:
        return
    arc = sector(plan, series)
    gap = gap_downwind(plan.reach.gap_m, arc)
    yield _direction(plan, gap, arc.known, boom)
    if plan.pair_no_spray_m.any():
        yield _no_spray(plan, gap, arc.known)


def any_pair(plan: Plan, pairs: Bools) -> Bools:
    """Reduce pairs [P, T] to fields [F, T]: true where any of a field's pairs is."""
    out = np.zeros((len(plan.fields), pairs.shape[1]), dtype=bool)
    np.logical_or.at(out, plan.reach.pair_field, pairs)
    return out


def _direction(plan: Plan, gap: Floats, known: Bools, boom: BoomWind) -> Checked:
    downwind = gap <= plan.farm.told.judging.reach
    rule = np.array(plan.pair_rule, dtype=object)[:, None]
    near_by = plan.pair_in_reach[:, None]
    very = np.array([s is Susceptibility.VERY_SUSCEPTIBLE for s in plan.pair_susceptibility])

    stand: Stands = np.full(boom.band.shape, Stand.HOLDS, dtype=np.int8)
    calm = boom.band == Band.CALM

    calm_only = any_pair(plan, downwind & known & (rule == Downwind.CALM))[:, None, :]
    stand[calm_only & calm] = Stand.NEAR
    no_direction = any_pair(plan, near_by & ~known & (rule != Downwind.ANY))[:, None, :]
    stand[np.broadcast_to(no_direction, stand.shape)] = Stand.UNKNOWN
    stand[calm_only & ~calm] = Stand.BROKEN
    beside_very = any_pair(plan, np.broadcast_to(very[:, None] & near_by, gap.shape))[:, None, :]
    stand[beside_very & ~calm] = Stand.BROKEN
    stand[(calm_only | beside_very) & (boom.band == Band.UNKNOWN)] = Stand.UNKNOWN
    never = any_pair(plan, downwind & known & (rule == Downwind.NEVER))[:, None, :]
    stand[np.broadcast_to(never, stand.shape)] = Stand.BROKEN
    return ruled(Limit.NEIGHBOUR, _least_gap(plan, gap), stand)


def _least_gap(plan: Plan, gap: Floats) -> Floats:
    least = np.full((len(plan.fields), gap.shape[1]), np.inf)
    np.minimum.at(least, plan.reach.pair_field, gap)
    return least[:, None, :]


def _no_spray(plan: Plan, gap: Floats, known: Bools) -> Checked:
    """The gap to the worst placed downwind neighbour against its no-spray distance."""
    need = plan.pair_no_spray_m[:, None]
    # Judged as the share of each pair's own distance, so that one bound (1) serves all of them.
    share = np.where(need > 0, gap / np.where(need > 0, need, 1.0), np.inf)
    nearest = plan.reach.gap_m.min(axis=1)[:, None]
    share = np.where(known | (nearest >= need), share, np.nan)
    worst = np.full((len(plan.fields), gap.shape[1]), np.inf)
    np.minimum.at(worst, plan.reach.pair_field, share)
    one = np.asarray(1.0)
    return bounded(
        Limit.NO_SPRAY,
        worst[:, None, :],
        low=one,
        high=np.asarray(np.inf),
        scale=one,
        margin=np.asarray(0.0),
    )
