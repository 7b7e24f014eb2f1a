"""The rig of a job under way as it was changed in the field: judged so from then on.

What is left unsprayed in strips is taken off the ground of the job here, and nowhere else.
"""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.farm import Farm
from watcher.farm.geometry.bearings import Reach
from watcher.farm.models import Adjuvant
from watcher.judge.farm_judgement import Look, judge_look, with_own
from watcher.judge.judgement import Judgement
from watcher.limits.check import mixed
from watcher.limits.farm_arrays import FarmArrays

N = TypeVar("N", bound=np.generic)
_WORN_S = 3600
"""What the pump wears is gone after so long (see ``retardants``). [s]"""
_LEAST_LEFT = 1e-3
"""A job has some ground, or nothing of it could be timed."""


@dataclass(frozen=True)
class ChangedRig:
    """What was changed on the sprayer of a job, and what is left of its field."""

    field: str
    setup: str
    boom_height_m: float | None = None
    speed_m_s: float | None = None
    adjuvant: Adjuvant | None = None
    """A drift retardant that was added to the tank that is on."""
    additives: tuple[str, ...] = ()
    """What labels call it."""
    added_at: int | None = None
    strips: Mapping[str, float] = dataclasses.field(default_factory=dict)
    """How deep a strip is left unsprayed beside each neighbour. [m]"""
    agreed: Mapping[str, float] = dataclasses.field(default_factory=dict)
    """How deep the strips are that a label or law asked for at the start: they are asked for as
    long as the wind is so, and stay unsprayed. [m]"""

    def unsprayed_share(self, plan: FarmArrays) -> float:
        """Return the share of the whole field that stays unsprayed in strips. 0 to 1"""
        ground, known = plan.farm.ground, plan.farm.config.neighbours
        depth = {
            name: max(left[name] for left in (self.strips, self.agreed) if name in left)
            for name in {**self.agreed, **self.strips}
            if name in known
        }
        return ground.strips_m2(self.field, depth) / ground.area_m2(self.field)

    def fits(self, plan: FarmArrays) -> bool:
        """Return whether a farm still has the field and the setup of the job."""
        return self.field in plan.fields and self.setup in plan.setups

    def on(self, plan: FarmArrays, now: int | None) -> FarmArrays:
        """Return a farm in which the job's sprayer is as it is now; see ``FarmArrays.pumped_min``.

        ``now`` None counts on nothing that the pump wears.
        """
        config = plan.farm.config
        sprayer = config.setups[self.setup].sprayer
        handled = {"boom_height": self.boom_height_m, "speed": self.speed_m_s}
        rigged = config.sprayers[sprayer].model_copy(
            update={key: value for key, value in handled.items() if value is not None}
        )
        # One tank: whatever tips it goes through, it has the retardant in it.
        setups = {
            name: setup.model_copy(
                update={
                    "adjuvant": self.adjuvant,
                    "additives": (*setup.additives, *self.additives),
                }
            )
            if setup.sprayer == sprayer and self.adjuvant is not None
            else setup
            for name, setup in config.setups.items()
        }
        changed = config.model_copy(
            update={"sprayers": {**config.sprayers, sprayer: rigged}, "setups": setups}
        )
        pumped = plan.pumped_min
        if self.added_at is not None:
            pumped = np.inf if now is None else max(0.0, (now - self.added_at) / 60.0)
        as_is = replace(
            plan,
            farm=Farm(changed, plan.farm.ground),
            reach=self._further(plan),
            pumped_min=pumped,
        )
        return replace(as_is, left={**plan.left, self.field: self._left(as_is)})

    def _left(self, plan: FarmArrays) -> float:
        """Return what is left of the field but for the strips that ``to_spray_m2`` leaves out."""
        case = plan.fields.index(self.field), plan.setups.index(self.setup)
        out = float(plan.buffers.always_share[case])
        further = max(self.unsprayed_share(plan) - out, 0.0) / (1.0 - out)
        return max(plan.left.get(self.field, 1.0) - further, _LEAST_LEFT)

    def _further(self, plan: FarmArrays) -> Reach:
        """The ground with neighbours as much further off as strips are left beside them."""
        reach, names = plan.reach, list(plan.farm.config.neighbours)
        own = plan.fields.index(self.field)
        depth = np.array(
            [
                self.strips.get(names[n], 0.0) if f == own else 0.0
                for f, n in zip(reach.pair_field, reach.pair_neighbour, strict=True)
            ]
        )
        gap_m = reach.gap_m + depth[:, None]
        return Reach(reach.pair_field, reach.pair_neighbour, gap_m, reach.width_m)


def judged_as_changed(
    judgement: Judgement, rig: ChangedRig, look: Look, now_index: int
) -> Judgement:
    """Return a judgement whose rows of a job's field are of its rig as it is.

    ``look`` is the weather the field is judged by.
    """
    plan = judgement.plan
    if not rig.fits(plan):
        return judgement
    return with_own(judgement, plan.fields.index(rig.field), judge_rig(plan, rig, look, now_index))


def judge_rig(plan: FarmArrays, rig: ChangedRig, look: Look, now_index: int) -> Judgement:
    """Judge a farm as if the rig of a job were all there is: of its field that is the judgement.

    Of the hours ahead nothing is counted on that the pump wears, unless the job holds now by that
    alone: then until it is worn.
    """
    now = int(look.series.times[now_index])
    at = plan.fields.index(rig.field), plan.setups.index(rig.setup), now_index
    own = judge_look(rig.on(plan, None), look)
    if rig.added_at is not None:
        fresh = judge_look(rig.on(plan, now), look)
        if fresh.instant[at] > own.instant[at]:
            own = _until(float(rig.added_at + _WORN_S), fresh, own)
    return own


def _until(worn: float, fresh: Judgement, then: Judgement) -> Judgement:
    """Return one judgement up to a moment, at which it closes, and another from then on."""
    before = fresh.series.times < worn

    def split(one: NDArray[N], other: NDArray[N]) -> NDArray[N]:
        return np.where(before, one, other)

    return replace(
        fresh,
        found=tuple(mixed(same, split) for same in zip(fresh.found, then.found, strict=True)),
        instant=split(fresh.instant, then.instant),
        closes=split(np.minimum(fresh.closes, worn), then.closes),
    )
