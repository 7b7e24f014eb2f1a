"""What a spraying job looks like right now: its field and setup judged at this moment."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from watcher.judge.judgement import Judgement
from watcher.judge.limits import bounded
from watcher.judge.reasons import Reason, reasons, worst_first
from watcher.judge.status import Limit, Stand, Status
from watcher.store.tables import Job

# What the setup decides by itself: known at the start, it cannot change while spraying.
_OF_THE_SETUP = {Limit.DROPLETS, Limit.CONTROL}


@dataclass(frozen=True)
class JobSight:
    """One open job at one moment. Times are epoch seconds."""

    job: Job
    limits: tuple[Reason, ...]
    """Every limit that can change while spraying, the one that binds first."""
    sprayed_s: float
    left_s: float
    """Planned spraying time left; negative once it is over its time."""
    breaks_at: int | None
    holds_again_at: int | None
    other_setup: str | None
    """A setup of the same sprayer that is within its window here now."""
    wind_margin: float
    """Share of the wind's scale its source may be wrong by."""

    @property
    def by_limit(self) -> Mapping[Limit, Reason]:
        return {r.limit: r for r in self.limits}


def sprayed_s(job: Job, now: int) -> float:
    """How long a job has been spraying, its pauses taken out. [s]"""
    until = now if job.paused_at is None else job.paused_at
    return float(max(0, until - job.started_at - job.paused_s))


def look(
    judgement: Judgement, now_index: int, job: Job, *, wind_uncertainty_m_s: float = 0.0
) -> JobSight:
    """Look at one job as it stands at one index of the judged series.

    Raises LookupError when its field or setup is no longer in the farm file.
    """
    plan, now = judgement.plan, int(judgement.series.times[now_index])
    if job.field not in plan.fields or job.setup not in plan.setups:
        raise LookupError(
            f"job {job.id}: field {job.field!r} or setup {job.setup!r} is no longer in the farm "
            "file; put it back or end the job"
        )
    field, setup = plan.fields.index(job.field), plan.setups.index(job.setup)
    sprayed = sprayed_s(job, now)
    left = job.planned_s - sprayed
    limits = [
        _for_the_rest(judgement, reason, field, setup, left)
        for reason in reasons(judgement, field, setup, now_index)
        if reason.limit not in _OF_THE_SETUP
    ]
    later = slice(now_index + 1, None)
    again = np.flatnonzero(judgement.instant[field, setup, later] >= Status.MARGINAL)
    breaks_at = judgement.breaks_at[field, setup, now_index]
    return JobSight(
        job=job,
        limits=tuple(worst_first(limits)),
        sprayed_s=sprayed,
        left_s=left,
        breaks_at=int(breaks_at) if np.isfinite(breaks_at) else None,
        holds_again_at=int(judgement.series.times[later][again[0]]) if again.size else None,
        other_setup=_other_setup(judgement, field, setup, now_index),
        wind_margin=float(wind_uncertainty_m_s / plan.bounds[Limit.WIND].scale[field]),
    )


def _for_the_rest(
    judgement: Judgement, reason: Reason, field: int, setup: int, left_s: float
) -> Reason:
    """The rain-free time counts from the end of what is left, not of a whole job begun now."""
    if reason.limit is not Limit.RAIN_AFTER:
        return reason
    plan = judgement.plan
    bounds = plan.bounds[Limit.RAIN_AFTER]
    checked = bounded(
        Limit.RAIN_AFTER,
        np.asarray(reason.value + plan.duration_s[field, setup] - max(left_s, 0.0)),
        low=bounds.low[field],
        high=bounds.high[field],
        scale=bounds.scale[field],
        margin=bounds.margin[field],
    )
    return replace(
        reason,
        value=float(checked.value),
        headroom=float(checked.headroom),
        stand=Stand(int(checked.stand)),
    )


def _other_setup(judgement: Judgement, field: int, setup: int, time: int) -> str | None:
    plan, told = judgement.plan, judgement.plan.farm.told.setups
    sprayer = told[plan.setups[setup]].sprayer
    able = [
        (-int(judgement.instant[field, s, time]), float(plan.loss_pct[field, s]), name)
        for s, name in enumerate(plan.setups)
        if s != setup
        and told[name].sprayer == sprayer
        and judgement.instant[field, s, time] >= Status.MARGINAL
    ]
    return min(able)[2] if able else None
