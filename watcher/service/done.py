"""Which fields have been sprayed lately, so that nothing more is asked of them for a while."""

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.store import jobs

_LONGEST_JOB_S = 3 * 86_400


def done_fields(session: Session, farm: Farm, now: int) -> frozenset[str]:
    """Name the fields with a job finished no longer ago than their ``done_for``."""
    plans = farm.told.fields
    longest = max(plan.done_for for plan in plans.values())
    return frozenset(
        job.field
        for job in jobs.past_jobs(session, int(now - longest) - _LONGEST_JOB_S, now + 1)
        if job.state == "finished"
        and job.field in plans
        and job.ended_at is not None
        and now - job.ended_at <= plans[job.field].done_for
    )
