"""One case explained: every limit with value, bound, origin and room left, the binding one first.

Data only. Wording is made from it at the edge.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.farm.models import Origin
from watcher.judge.downwind import gap_downwind, sector
from watcher.judge.exposed import Exposed, exposed
from watcher.judge.judgement import Judgement
from watcher.judge.limits import Checked
from watcher.judge.plan import Plan
from watcher.judge.status import Limit, Stand


@dataclass(frozen=True)
class Reason:
    """How one limit stands for one field, setup and time. SI, as the limit's quantity is held."""

    limit: Limit
    stand: Stand
    value: float
    low: float
    high: float
    origin: Origin
    headroom: float
    neighbours: tuple[str, ...] = ()
    """Who lies downwind, nearest first; for the limits towards neighbours."""
    exposed: tuple[Exposed, ...] = ()
    """What may land on each neighbour, worst first; for drift onto a neighbour."""


@dataclass(frozen=True)
class DownwindNeighbour:
    """A neighbour the spray may go to: its name and the gap along the wind. [m]"""

    name: str
    gap_m: float


def reasons(judgement: Judgement, field: int, setup: int, time: int) -> list[Reason]:
    """Every limit of one case: broken first, then unknown, near and holding; least room first."""
    judgement = judgement.of_field(field)
    found = [_reason(judgement, checked, (field, setup, time)) for checked in judgement.checks]
    return worst_first(found)


def worst_first(found: Iterable[Reason]) -> list[Reason]:
    """Order limits of one case: broken, unknown, near, holding; the least room first in each."""
    return sorted(found, key=lambda r: (r.stand, -np.inf if np.isnan(r.headroom) else r.headroom))


def _at(values: NDArray[Any], index: tuple[int, int, int]) -> Any:
    """One case's value of an array that broadcasts to [F, S, T]."""
    own = zip(index[-values.ndim :], values.shape, strict=True) if values.ndim else ()
    return values[tuple(i if size > 1 else 0 for i, size in own)]


def _reason(judgement: Judgement, checked: Checked, index: tuple[int, int, int]) -> Reason:
    limit, field = checked.limit, index[0]
    who: tuple[str, ...] = ()
    if limit in {Limit.NEIGHBOUR, Limit.NO_SPRAY}:
        who = tuple(n.name for n in downwind_neighbours(judgement, field, index[2]))
    landing = exposed(judgement, *index) if limit is Limit.DEPOSIT else []
    return Reason(
        limit=limit,
        stand=Stand(int(_at(checked.stand, index))),
        value=float(_at(checked.value, index)),
        low=float(_at(checked.low, index)),
        high=float(_at(checked.high, index)),
        origin=_origin(judgement.plan, limit, field),
        headroom=float(_at(checked.headroom, index)),
        neighbours=who,
        exposed=tuple(landing),
    )


def _origin(plan: Plan, limit: Limit, field: int) -> Origin:
    if limit in plan.bounds:
        return plan.bounds[limit].origin[field]
    window = plan.windows[field]
    if limit is Limit.DROPLETS and window.droplets is not None:
        return window.droplets.origin
    return {
        Limit.INVERSION: window.inversion.origin,
        Limit.DROPLETS_IN_WIND: window.droplets_in_marginal_wind.origin,
        Limit.NEIGHBOUR: window.neighbours.origin,
        Limit.NO_SPRAY: Origin.LABEL,
    }.get(limit, Origin.OWN)


def downwind_neighbours(judgement: Judgement, field: int, time: int) -> list[DownwindNeighbour]:
    """Who lies downwind of a field at a time, nearest first."""
    plan = judgement.plan
    pairs = np.flatnonzero(plan.reach.pair_field == field)
    moment = judgement.series.at(slice(time, time + 1))
    arc = sector(plan, moment)
    if not pairs.size or not arc.known[0]:
        return []
    gaps = gap_downwind(plan.reach.gap_m[pairs], arc)[:, 0]
    names = tuple(plan.farm.told.neighbours)
    found = [
        DownwindNeighbour(names[plan.reach.pair_neighbour[pair]], float(gap))
        for pair, gap in zip(pairs, gaps, strict=True)
        if np.isfinite(gap)
    ]
    return sorted(found, key=lambda n: (n.gap_m, n.name))
