"""What a spraying job looks like right now: its field and setup judged at this moment."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from watcher.jobs.steps import sprayed_s
from watcher.judge.judgement import Judgement
from watcher.judge.reasons import Reason, binding, reasons, worst_first
from watcher.limits.catalogue import LIFTED_BY_SETUP_ALONE, Limit
from watcher.limits.check import bounded
from watcher.limits.status import LimitState, Status
from watcher.store.tables import Job

# What the setup decides by itself, and what asks of the beginning only: known at the start, it
# cannot change while spraying.
_OF_THE_START = LIFTED_BY_SETUP_ALONE | {Limit.BEGIN}


@dataclass(frozen=True)
class JobState:
    """One open job at one moment. Times are epoch seconds."""

    job: Job
    limits: tuple[Reason, ...]
    """Every limit that can change while spraying, the one that binds first."""
    sprayed_s: float
    left_s: float
    """Planned spraying time left; negative once it is over its time."""
    breaks_at: int | None
    breaks_by: Reason | None
    """The limit that is first outside then."""
    holds_again_at: int | None
    ahead_known: bool
    """Whether every hour up to the end of what is judged is known."""

    @property
    def by_limit(self) -> Mapping[Limit, Reason]:
        return {r.limit: r for r in self.limits}


def look(judgement: Judgement, now_index: int, job: Job) -> JobState:
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
        if reason.limit not in _OF_THE_START
    ]
    later = slice(now_index + 1, None)
    ahead = judgement.instant[field, setup, later]
    again = np.flatnonzero(ahead >= Status.MARGINAL)
    here, index = judgement.around(now_index)
    breaks_at = here.breaks_at[field, setup, index]
    return JobState(
        job=job,
        limits=tuple(worst_first(limits)),
        sprayed_s=sprayed,
        left_s=left,
        breaks_at=int(breaks_at) if np.isfinite(breaks_at) else None,
        breaks_by=_breaks_by(judgement, field, setup, float(breaks_at)),
        holds_again_at=int(judgement.series.times[later][again[0]]) if again.size else None,
        ahead_known=not bool((ahead == Status.UNKNOWN).any()),
    )


def _breaks_by(judgement: Judgement, field: int, setup: int, at: float) -> Reason | None:
    if not np.isfinite(at):
        return None
    index = int(np.searchsorted(judgement.series.times, at))
    if index >= len(judgement.series.times):
        return None
    first = binding(judgement, field, setup, index)
    return first if first.stand is LimitState.BROKEN else None


def _for_the_rest(
    judgement: Judgement, reason: Reason, field: int, setup: int, left_s: float
) -> Reason:
    """The rain-free time counts from the end of what is left, not of a whole job begun now."""
    if reason.limit is not Limit.RAIN_AFTER:
        return reason
    plan = judgement.of_field(field).plan
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
        stand=LimitState(int(checked.stand)),
    )
