"""Limits towards neighbours: the wind-direction rule and the label's no-spray distance."""

from collections.abc import Iterator

import numpy as np

from watcher.farm.models import Downwind, Susceptibility
from watcher.limits.boom_wind import BoomWind
from watcher.limits.buffers import buffer_limit
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, Stands, ruled
from watcher.limits.downwind import gap_downwind, per_field, sector
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.status import Band, LimitState
from watcher.weather.series import Floats, WeatherSeries


def neighbour_limits(plan: FarmArrays, series: WeatherSeries, boom: BoomWind) -> Iterator[Checked]:
    """Yield the checked limits towards neighbours; nothing where no field has one in reach."""
    if not plan.reach.pair_field.size:
        return
    arc = sector(plan, series)
    gap = gap_downwind(plan.reach.gap_m, arc)
    yield _direction(plan, gap, arc.known, boom)
    yield from buffer_limit(plan, gap, arc.known)


def _direction(plan: FarmArrays, gap: Floats, known: Bools, boom: BoomWind) -> Checked:
    of_pairs = direction_stand(
        plan,
        np.arange(gap.shape[0]),
        downwind=gap <= plan.pair_reach_m[:, None],
        known=known,
        band=boom.band[plan.kind[plan.reach.pair_field]],
    )
    stand = per_field(plan, np.minimum, of_pairs, LimitState.HOLDS)
    return ruled(Limit.NEIGHBOUR, per_field(plan, np.minimum, gap, np.inf)[:, None, :], stand)


def direction_stand(
    plan: FarmArrays, pairs: np.ndarray, *, downwind: Bools, known: Bools, band: np.ndarray
) -> Stands:
    """How the wind-direction rule stands for each of some pairs. [P, S, T]

    ``pairs`` are their positions, ``downwind`` [P, T] whether they lie downwind, ``known`` [T]
    whether the wind has a direction, ``band`` [P, S, T] its band at their field.
    """
    rule = np.array([plan.pair_rule[p] for p in pairs], dtype=object)[:, None]
    very = [plan.pair_susceptibility[p] is Susceptibility.VERY_SUSCEPTIBLE for p in pairs]
    near_by = plan.pair_in_reach[pairs]
    calm = band == Band.CALM

    stand: Stands = np.full(band.shape, LimitState.HOLDS, dtype=np.int8)
    calm_only = (downwind & known & (rule == Downwind.CALM))[:, None, :]
    stand[calm_only & calm] = LimitState.NEAR
    no_direction = near_by[:, None] & ~known & (rule != Downwind.ANY)
    stand[np.broadcast_to(no_direction[:, None, :], stand.shape)] = LimitState.UNKNOWN
    # Beside a very susceptible one only calm air, whichever way it moves.
    needs_calm = calm_only | (np.array(very, dtype=bool) & near_by)[:, None, None]
    stand[needs_calm & ~calm] = LimitState.BROKEN
    stand[needs_calm & (band == Band.UNKNOWN)] = LimitState.UNKNOWN
    never = (downwind & known & (rule == Downwind.NEVER))[:, None, :]
    stand[np.broadcast_to(never, stand.shape)] = LimitState.BROKEN
    return stand


def no_spray_share(gap: Floats, *, need_m: Floats, nearest_m: Floats, known: Bools) -> Floats:
    """The gap downwind [P, T] as a share of each pair's own no-spray distance [P]. [P, T]

    So that one bound, 1, serves all of them; infinite for a pair without such a distance. Where
    the wind has no known direction it is NaN, unless the neighbour is that far off anyway.
    """
    need, nearest = need_m[:, None], nearest_m[:, None]
    share = np.where(need > 0, gap / np.where(need > 0, need, 1.0), np.inf)
    return np.where(known | (nearest >= need), share, np.nan)
