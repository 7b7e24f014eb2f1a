"""The book of spraying jobs: what may be started, changed and ended, and how limits stood then."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from watcher.jobs.watch import sprayed_s
from watcher.judge.plan import Plan
from watcher.judge.reasons import Reason
from watcher.judge.status import Limit, Stand
from watcher.store import jobs
from watcher.store.jobs import JobConflictError
from watcher.store.tables import Job, JobEvent

_IN_HAND = {"started", "resumed", "setup changed"}
_STOOD = "stood"


class JobNotPlannedError(ValueError):
    """The field or setup of a job does not fit the farm file; says what would."""


def start(session: Session, plan: Plan, field: str, setup: str, now: int) -> Job:
    """Start a job, planned to last as long as the farm file's numbers say.

    Raises JobNotPlannedError where the farm file has no such field or does not allow the setup on
    it, and ``JobConflictError`` where the field or the sprayer is in another open job.
    """
    return jobs.start(
        session,
        field=field,
        setup=setup,
        sprayer=_sprayer(plan, setup),
        at=now,
        planned_s=_planned_s(plan, field, setup),
    )


def change_setup(session: Session, plan: Plan, job_id: int, setup: str, now: int) -> Job:
    """Go on with another setup of the same sprayer; what is left takes as long as it takes now."""
    job = jobs.job(session, job_id, hold=True)
    whole = _planned_s(plan, job.field, setup)
    if _sprayer(plan, setup) != job.sprayer:
        raise JobConflictError(
            f"setup {setup!r} is of another sprayer than job {job_id}, which has {job.sprayer!r}; "
            "finish or abandon that job and start another"
        )
    done = sprayed_s(job, now)
    share_left = max(0.0, 1.0 - done / job.planned_s)
    jobs.change_setup(session, job_id, setup, now)
    job.planned_s = done + share_left * whole
    return job


@dataclass(frozen=True)
class Stood:
    """How a limit stood at a moment. ``headroom`` is NaN where it has no distance to a bound."""

    stand: Stand
    headroom: float


def taken_in_hand_at(events: Sequence[JobEvent]) -> int:
    """When the grower last started the job, went on with it or changed its setup. [epoch s]"""
    return max(e.at for e in events if e.what in _IN_HAND)


def stood(events: Sequence[JobEvent]) -> dict[Limit, Stood] | None:
    """How the limits stood when the grower last took the job in hand, or at the last all-clear.

    None while nobody has looked since.
    """
    for event in reversed(events):
        if event.what == _STOOD:
            return {
                Limit(limit): Stood(Stand(stand), math.nan if room is None else room)
                for limit, (stand, room) in event.detail.items()
            }
        if event.what in _IN_HAND:
            return None
    return None


def tank_age_s(job: Job, events: Sequence[JobEvent], tank_s: float, now: int) -> float:
    """How long what is in the tank has been going round, pauses included. [s]

    ``tank_s`` is how long a full tank lasts while spraying. Fills are reckoned, not told: one at
    the start, and one whenever so much has been sprayed.
    """
    since_fill = sprayed_s(job, now) % tank_s
    running, until = 0.0, now
    for event in reversed(events):
        if event.what == "paused":
            until = event.at
        elif event.what in {"started", "resumed"}:
            if running + until - event.at >= since_fill:
                return now - (until - (since_fill - running))
            running += until - event.at
    return float(now - job.started_at)


def note_stood(session: Session, job: Job, limits: Sequence[Reason], now: int) -> None:
    """Record how the limits of a job stand now."""
    detail: Mapping[str, object] = {
        r.limit.value: [int(r.stand), r.headroom if math.isfinite(r.headroom) else None]
        for r in limits
    }
    session.add(JobEvent(job_id=job.id, at=now, what=_STOOD, detail=dict(detail)))


def _planned_s(plan: Plan, field: str, setup: str) -> float:
    if field not in plan.fields:
        known = ", ".join(plan.fields)
        raise JobNotPlannedError(f"the farm file has no field {field!r}; it has {known}")
    f = plan.fields.index(field)
    allowed = [name for s, name in enumerate(plan.setups) if plan.allowed[f, s]]
    if setup not in allowed:
        raise JobNotPlannedError(
            f"setup {setup!r} may not be used on field {field!r}; these may: {', '.join(allowed)}"
        )
    return float(plan.duration_s[f, plan.setups.index(setup)])


def _sprayer(plan: Plan, setup: str) -> str:
    told = plan.farm.told.setups
    if setup not in told:
        raise JobNotPlannedError(f"the farm file has no setup {setup!r}; it has {', '.join(told)}")
    return told[setup].sprayer
