"""The plan of the day of a farm: from its chances, jobs and due days to what to spray in order."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from watcher.farm.models import FieldPlan, Setup, Sprayer, WeedPressure
from watcher.judge.chances import Chances, FarmChances
from watcher.judge.judgement import Judgement
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.planning.choices import Choices
from watcher.planning.day_plan import DayPlan, Planner
from watcher.weather.series import Floats, Seconds

_WORTH = {WeedPressure.CLEAN: 1.0, WeedPressure.MODERATE: 1.15, WeedPressure.WEEDY: 1.3}
"""What a field sprayed in time is worth (a choice): thick weeds are the costlier miss."""
_TOO_LATE = 0.5
"""What is left of that after the field's last day (a choice)."""
_AS_LIKELY = 0.05
"""Setups whose chances differ by no more are chosen between by drift and weed control."""

_NOW_S = 300
"""A start so soon is now."""


@dataclass(frozen=True)
class Busy:
    """A sprayer that is in a job: in which field, and until when it is expected to be."""

    sprayer: str
    field: str
    until: int
    setup: str = ""


def planner(
    judgement: Judgement,
    now_index: int,
    chances: FarmChances,
    *,
    done: Collection[str],
    busy: Sequence[Busy] = (),
) -> Planner | None:
    """Lay out what may be planned; None where nothing is foretold or nothing is left to spray.

    The first start is now, as the fields are judged now; the others are those of the chances that
    lie within the horizon.
    """
    plan, now = judgement.plan, int(judgement.series.times[now_index])
    taken = {b.field for b in busy}
    fields = [
        f for f in plan.fields if f not in done and f not in taken and chances.of(f, plan.setups[0])
    ]
    if not fields or chances.old(now):
        return None
    ahead = reduce(np.intersect1d, (part.starts for part in chances.parts))
    planned = (ahead > now + _NOW_S) & (ahead < now + plan.farm.config.judging.horizon)
    starts = np.concatenate([[now], ahead[planned]])
    setups = plan.farm.config.setups
    sprayers = list(dict.fromkeys(setups[s].sprayer for s in plan.setups))
    shape = (len(sprayers), len(fields), starts.size)
    chance, duration_s = np.zeros(shape), np.full(shape, 3600.0)
    chosen = np.zeros(shape, dtype=np.intp)
    for f, field in enumerate(fields):
        status = judgement.status[plan.fields.index(field), :, now_index]
        part = _as_of(next(p for p in chances.parts if field in p.fields), field, starts, status)
        for k, sprayer in enumerate(sprayers):
            own = np.array([i for i, s in enumerate(plan.setups) if setups[s].sprayer == sprayer])
            best = own[_setup(plan, part, field, own)]
            row = part.fields.index(field)
            chosen[k, f] = best
            chance[k, f] = part.held[row, best, np.arange(starts.size)]
            # As long as what is left of it takes: the chances may be from before a part was done.
            duration_s[k, f] = plan.duration_s[plan.fields.index(field), best]
    config = plan.farm.config
    known = [*fields, *(b.field for b in busy if b.field in plan.fields)]
    group, change_s = _groups(plan, known)
    places = {name: int(g) for name, g in zip(known, group, strict=True)}
    _keep_busy(chance, sprayers, starts, busy, group=places, fields=fields, change_s=change_s)
    choices = Choices(
        sprayers=tuple(sprayers),
        fields=tuple(fields),
        starts=starts,
        chance=chance,
        duration_s=duration_s,
        worth=np.array([_worth(plan, config.fields[f], starts) for f in fields]),
        group=group[: len(fields)],
        change_s=change_s,
    )
    return Planner(choices, plan.setups, chosen)


def _as_of(part: Chances, field: str, starts: Seconds, status: NDArray[np.int8]) -> Chances:
    """Return chances by these starts, of which the first is now: a field that is not open has none.

    Now has the chance of the nearest start, as ``FarmChances.now`` has it. ``status`` by setup.
    """
    f, now = part.fields.index(field), starts[0]
    at = np.searchsorted(part.starts, starts)
    at[0] = int(np.argmin(np.abs(part.starts - now)))
    held = part.held[..., at].copy()
    if at[0] == 0 and part.starts[0] < now and part.starts.size > 1:
        # It was not open when the chances were worked out: it has those of the next start.
        held[..., 0] = np.where(part.held[..., 0] > 0.0, held[..., 0], part.held[..., 1])
    held[f, :, 0][status < Status.UNKNOWN] = 0.0
    held[f, :, 0][status == Status.UNKNOWN] = np.nan
    past_forecasts = part.past_forecasts[at]
    return replace(
        part, starts=starts, held=held, half=part.half[..., at], past_forecasts=past_forecasts
    )


def with_details(
    plan: FarmArrays, chances: FarmChances, found: DayPlan, busy: Sequence[Busy] = ()
) -> DayPlan:
    """Return a plan whose steps say what ends them, what is left of their field, what is rinsed."""
    fields = plan.farm.config.fields
    setups, sprayers = plan.farm.config.setups, plan.farm.config.sprayers
    rigged = {b.sprayer: b.setup for b in busy}
    tanks = {b.sprayer: _tank(fields[b.field]) for b in busy if b.field in fields}
    steps = []
    for step in found.steps:
        tank = _tank(fields[step.field])
        near = chances.nearest(step.field, step.setup, step.starts_at)
        steps.append(
            replace(
                step,
                tips_s=_tips_s(
                    sprayers[step.sprayer], setups, rigged.get(step.sprayer), step.setup
                ),
                cleans_out=tanks.get(step.sprayer, tank) != tank,
                area_m2=plan.farm.ground.area_m2(step.field) * plan.left.get(step.field, 1.0),
                ended_by=near.ended_by,
            )
        )
        tanks[step.sprayer], rigged[step.sprayer] = tank, step.setup
    return replace(found, steps=tuple(steps))


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


def _tips_s(sprayer: Sprayer, setups: Mapping[str, Setup], on: str | None, wanted: str) -> float:
    """Return how long it takes from the tips that are on to those of a setup. [s]

    Setups of the same nozzle, size and droplets have the same tips; what is on at first is not
    known, and costs nothing.
    """
    had = setups.get(on or "")
    if had is None or _tips(had) == _tips(setups[wanted]):
        return 0.0
    return sprayer.tips_turned_in


def _tips(setup: Setup) -> tuple[object, ...]:
    return setup.nozzle, setup.nozzle_size, setup.listed_nozzle, setup.droplets


def _keep_busy(
    chance: Floats,
    sprayers: Sequence[str],
    starts: Seconds,
    busy: Sequence[Busy],
    *,
    group: Mapping[str, int],
    fields: Sequence[str],
    change_s: Floats,
) -> None:
    """Let a sprayer begin nothing before its job and the change after it are over."""
    for job in busy:
        if job.sprayer not in sprayers:
            continue
        for f, field in enumerate(fields):
            there = job.field in group
            after = change_s[group[job.field], group[field]] if there else 0.0
            chance[sprayers.index(job.sprayer), f, starts < job.until + after] = 0.0


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
