"""The plan of the day of a farm: from its chances, jobs and due days to what to spray in order."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from watcher.farm.models import FieldPlan, WeedPressure
from watcher.judge.chances import Chances, FarmChances
from watcher.limits.farm_arrays import FarmArrays
from watcher.planning.choices import Choices
from watcher.planning.day_plan import Planner
from watcher.weather.series import Floats, Seconds

_WORTH = {WeedPressure.CLEAN: 1.0, WeedPressure.MODERATE: 1.15, WeedPressure.WEEDY: 1.3}
"""What a field sprayed in time is worth (a choice): thick weeds are the costlier miss."""
_TOO_LATE = 0.5
"""What is left of that after the field's last day (a choice)."""
_AS_LIKELY = 0.05
"""Setups whose chances differ by no more are chosen between by drift and weed control."""


@dataclass(frozen=True)
class Busy:
    """A sprayer that is in a job: in which field, and until when it is expected to be."""

    sprayer: str
    field: str
    until: int


def planner(
    plan: FarmArrays, chances: FarmChances, *, done: Collection[str], busy: Sequence[Busy] = ()
) -> Planner | None:
    """Lay out what may be planned; None where nothing is foretold or nothing is left to spray."""
    taken = {b.field for b in busy}
    fields = [
        f for f in plan.fields if f not in done and f not in taken and chances.of(f, plan.setups[0])
    ]
    if not fields:
        return None
    starts = chances.parts[0].starts
    setups = plan.farm.config.setups
    sprayers = list(dict.fromkeys(setups[s].sprayer for s in plan.setups))
    shape = (len(sprayers), len(fields), starts.size)
    chance, duration_s = np.zeros(shape), np.full(shape, 3600.0)
    chosen = np.zeros(shape, dtype=np.intp)
    for f, field in enumerate(fields):
        part = next(p for p in chances.parts if field in p.fields)
        for k, sprayer in enumerate(sprayers):
            own = np.array([i for i, s in enumerate(plan.setups) if setups[s].sprayer == sprayer])
            best = own[_setup(plan, part, field, own)]
            row = part.fields.index(field)
            chosen[k, f] = best
            chance[k, f] = part.held[row, best, np.arange(starts.size)]
            duration_s[k, f] = part.duration_s[row, best]
    _keep_busy(chance, sprayers, starts, busy)
    config = plan.farm.config
    group, change_s = _groups(plan, fields)
    choices = Choices(
        sprayers=tuple(sprayers),
        fields=tuple(fields),
        starts=starts,
        chance=chance,
        duration_s=duration_s,
        worth=np.array([_worth(plan, config.fields[f], starts) for f in fields]),
        group=group,
        change_s=change_s,
    )
    return Planner(choices, plan.setups, chosen)


def _setup(plan: FarmArrays, part: Chances, field: str, own: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the place in ``own`` of the setup for each start. [B]

    Of those about as likely to hold, one whose loss of weed control the field stands, and of these
    the one with the least drift.
    """
    f = plan.fields.index(field)
    held = np.nan_to_num(part.held[part.fields.index(field)][own], nan=-1.0)  # [own, B]
    likely = held >= held.max(axis=0) - _AS_LIKELY
    stands = plan.loss_pct[f, own] <= plan.loss_tolerated_pct[f]
    order = np.lexsort((plan.spray_drift.upper[own], ~stands))  # best first
    return np.asarray(order[likely[order].argmax(axis=0)], dtype=np.intp)


def _keep_busy(
    chance: Floats, sprayers: Sequence[str], starts: Seconds, busy: Sequence[Busy]
) -> None:
    for job in busy:
        if job.sprayer in sprayers:
            chance[sprayers.index(job.sprayer), :, starts < job.until] = 0.0


def _worth(plan: FarmArrays, field: FieldPlan, starts: Seconds) -> Floats:
    """Return what a field is worth when begun at each start. [B]"""
    worth = np.full(starts.shape, _WORTH[field.weeds])
    if field.latest is not None:
        day_after = datetime.combine(field.latest + timedelta(days=1), time(), plan.farm.zone)
        worth[starts >= day_after.timestamp()] *= _TOO_LATE
    return worth


def _groups(plan: FarmArrays, fields: Sequence[str]) -> tuple[NDArray[np.intp], Floats]:
    """Return each field's group [F], and what changing from group to group takes [G, G], s.

    Fields of a group lie together and take the same out of the tank.
    """
    config, ground = plan.farm.config.planning, plan.farm.ground
    middles = np.array([[c.x, c.y] for c in (ground.fields[f].centroid for f in fields)])
    apart = np.hypot(*(middles[:, None] - middles).T)
    place = np.arange(len(fields))
    for f in range(len(fields)):  # joined to the first place that is near enough
        place[f] = place[int(np.argmax(apart[f, : f + 1] <= config.together))]
    tank = [_tank(plan.farm.config.fields[f]) for f in fields]
    keys = list(zip(place.tolist(), tank, strict=True))
    names: Mapping[object, int] = {key: g for g, key in enumerate(dict.fromkeys(keys))}
    group = np.array([names[key] for key in keys], dtype=np.intp)
    first = [keys.index(key) for key in dict.fromkeys(keys)]
    way_s = config.detour * apart[np.ix_(first, first)] / config.road_speed
    same_place = place[first][:, None] == place[first]
    other_tank = np.array([[tank[a] != tank[b] for b in first] for a in first])
    return group, np.where(same_place, 0.0, way_s) + other_tank * config.clean_out


def _tank(field: FieldPlan) -> tuple[str, ...]:
    """What is in the tank for a field; its window stands in where no products are named."""
    return field.products or (field.window,)
