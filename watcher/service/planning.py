"""The plan of the day of a farm: from its chances, jobs and due days to what to spray in order."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from watcher.farm.models import FieldPlan, WeedPressure
from watcher.judge.chances import Chances, FarmChances
from watcher.judge.judgement import Judgement
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.planning.choices import Choices, worth_by_chance
from watcher.planning.day_plan import DayPlan, Planner
from watcher.service.between_jobs import BetweenJobs, tank_of, tips_s
from watcher.service.crews import BusySprayer, crews
from watcher.weather.series import Floats, Seconds

_WORTH = {WeedPressure.CLEAN: 1.0, WeedPressure.MODERATE: 1.15, WeedPressure.WEEDY: 1.3}
"""What a field sprayed in time is worth (a choice): thick weeds are the costlier miss."""
_TOO_LATE = 0.5
"""What is left of that after the field's last day (a choice)."""
_AS_LIKELY = 0.05
"""Setups whose chances differ by no more are chosen between by drift and weed control."""

_PART = 0.5
"""The part of a field that is planned where the whole does not hold and it may be split: the one
there are chances for."""
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
    whole: bool = False,
) -> Planner | None:
    """Lay out what may be planned; None where nothing is foretold or nothing is left to spray.

    The first start is now, as the fields are judged now; the others are those of the chances that
    lie within the horizon.
    ``whole`` plans no parts of fields.
    """
    plan, now = judgement.plan, int(judgement.series.times[now_index])
    taken = {b.field for b in busy}
    fields = [
        f for f in plan.fields if f not in done and f not in taken and chances.of(f, plan.setups[0])
    ]
    if not fields or chances.old(now):
        return None
    ahead = reduce(np.intersect1d, (part.starts for part in chances.parts))
    config = plan.farm.config
    planned = (ahead > now + _NOW_S) & (ahead < now + config.judging.horizon)
    starts = np.concatenate([[now], ahead[planned]])
    setups = config.setups
    sprayers = list(dict.fromkeys(setups[s].sprayer for s in plan.setups))
    between = BetweenJobs(plan.farm, [*fields, *(b.field for b in busy if b.field in plan.fields)])
    shape = (len(sprayers), len(fields), starts.size)
    chance, duration_s = np.zeros(shape), np.full(shape, 3600.0)
    worth, parts = np.zeros(shape), np.ones(shape)
    chosen, state = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=np.intp)
    for f, field in enumerate(fields):
        status = judgement.status[plan.fields.index(field), :, now_index]
        part = _as_of(next(p for p in chances.parts if field in p.fields), field, starts, status)
        for k, sprayer in enumerate(sprayers):
            own = np.array([i for i, s in enumerate(plan.setups) if setups[s].sprayer == sprayer])
            split = config.fields[field].may_be_split and not whole
            best = own[_setup(plan, part, field, own, split=split)]
            at = part.fields.index(field), best, np.arange(starts.size)
            chosen[k, f] = best
            chance[k, f], worth[k, f] = part.held[at], _worth(plan, config.fields[field], starts)
            if split:
                half = _better_in_part(part.held[at], part.half[at])
                chance[k, f] = np.where(half, part.half[at], part.held[at])
                parts[k, f] = np.where(half, _PART, 1.0)
            worth[k, f] *= parts[k, f]
            # As long as what is left of it takes: the chances may be from before a part was done.
            duration_s[k, f] = plan.duration_s[plan.fields.index(field), best] * parts[k, f]
            for s in np.unique(best):
                state[k, f, best == s] = between.state(sprayer, field, plan.setups[s])
    held = [
        BusySprayer(
            sprayers.index(b.sprayer),
            b.until,
            between.state(b.sprayer, b.field, b.setup) if b.field in plan.fields else None,
        )
        for b in busy
        if b.sprayer in sprayers
    ]
    choices = Choices(
        sprayers=tuple(sprayers),
        fields=tuple(fields),
        starts=starts,
        chance=chance,
        duration_s=duration_s,
        worth=worth,
        state=state,
        change_s=between.change_s,
    )
    ways = crews(choices, config.drivers, plan.farm.zone, held)
    return Planner(choices, plan.setups, chosen, ways, parts)


def _as_of(part: Chances, field: str, starts: Seconds, status: NDArray[np.int8]) -> Chances:
    """Return chances by these starts, of which the first is now: a field that is not open has none.

    Now has the chance of the nearest start, as ``FarmChances.now`` has it. ``status`` by setup.
    """
    f, now = part.fields.index(field), starts[0]
    at = np.searchsorted(part.starts, starts)
    at[0] = int(np.argmin(np.abs(part.starts - now)))
    found = []
    for known in (part.held, part.half):
        held = known[..., at].copy()
        if at[0] == 0 and part.starts[0] < now and part.starts.size > 1:
            # It was not open when the chances were worked out: it has those of the next start.
            held[..., 0] = np.where(part.held[..., 0] > 0.0, held[..., 0], known[..., 1])
        held[f, :, 0][status < Status.UNKNOWN] = 0.0
        held[f, :, 0][status == Status.UNKNOWN] = np.nan
        found.append(held)
    past_forecasts = part.past_forecasts[at]
    return replace(part, starts=starts, held=found[0], half=found[1], past_forecasts=past_forecasts)


def _better_in_part(held: Floats, half: Floats) -> NDArray[np.bool_]:
    """Whether the part of a field is worth more than the whole of it; never where it is unknown."""
    whole, part = worth_by_chance(1.0, held), worth_by_chance(_PART, half)
    return np.asarray(~np.isnan(held) & (part > np.maximum(whole, 0.0)))


def with_details(
    plan: FarmArrays, chances: FarmChances, found: DayPlan, busy: Sequence[Busy] = ()
) -> DayPlan:
    """Return a plan whose steps say what ends them, what is left of their field, what is rinsed."""
    config = plan.farm.config
    rigged = {b.sprayer: b.setup for b in busy}
    tanks = {b.sprayer: tank_of(config.fields[b.field]) for b in busy if b.field in config.fields}
    drives: dict[str, str] = {}
    steps = []
    for step in found.steps:
        tank = tank_of(config.fields[step.field])
        near = chances.nearest(step.field, step.setup, step.starts_at)
        steps.append(
            replace(
                step,
                tips_s=tips_s(config, rigged.get(step.sprayer, ""), step.setup),
                cleans_out=tanks.get(step.sprayer, tank) != tank,
                changes_over=drives.get(step.driver, step.sprayer) != step.sprayer,
                area_m2=float(
                    plan.to_spray_m2[plan.fields.index(step.field), plan.setups.index(step.setup)]
                    * step.part
                ),
                ended_by=near.ended_by,
            )
        )
        tanks[step.sprayer], rigged[step.sprayer] = tank, step.setup
        if step.driver:
            drives[step.driver] = step.sprayer
    return replace(found, steps=tuple(steps))


def _setup(
    plan: FarmArrays, part: Chances, field: str, own: NDArray[np.intp], *, split: bool
) -> NDArray[np.intp]:
    """Return the place in ``own`` of the setup for each start. [B]

    Of those about as likely to hold, one whose loss of weed control the field stands, and of these
    the one with the least drift.
    """
    f = plan.fields.index(field)
    row = part.fields.index(field)
    held = np.nan_to_num(part.held[row][own], nan=-1.0)  # [own, B]
    if split:
        held = np.maximum(held, _PART * np.nan_to_num(part.half[row][own], nan=-1.0))
    likely = held >= held.max(axis=0) - _AS_LIKELY
    stands = plan.loss_pct[f, own] <= plan.loss_tolerated_pct[f]
    order = np.lexsort((plan.spray_drift.upper[own], ~stands))  # best first
    return np.asarray(order[likely[order].argmax(axis=0)], dtype=np.intp)


def _worth(plan: FarmArrays, field: FieldPlan, starts: Seconds) -> Floats:
    """Return what a field is worth when begun at each start. [B]"""
    worth = np.full(starts.shape, _WORTH[field.weeds])
    if field.latest is not None:
        day_after = datetime.combine(field.latest + timedelta(days=1), time(), plan.farm.zone)
        worth[starts >= day_after.timestamp()] *= _TOO_LATE
    return worth
