"""What has been sprayed lately: which fields are done for a while, and what is left of others."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.models import FieldPlan
from watcher.store import jobs

_LONGEST_JOB_S = 3 * 86_400
_ALL = 0.995
"""From this share on a field is done: shares are given in whole percent."""


@dataclass(frozen=True)
class RecentlySprayed:
    """What jobs ended no longer ago than their fields' ``done_for`` have sprayed."""

    done: frozenset[str]
    """Fields sprayed whole, or left out: nothing more is asked of them."""
    left: Mapping[str, float]
    """Of fields sprayed in part, the share that is still to be sprayed."""


def recently_sprayed(session: Session, farm: Farm, now: int) -> RecentlySprayed:
    """Add up what was sprayed lately, field by field. ``now`` is epoch seconds.

    A finished job is of all that was left unless it says how much was done; an abandoned one counts
    for what it says.
    """
    plans = farm.config.fields
    longest = max(plan.done_for for plan in plans.values())
    shares: dict[str, float] = defaultdict(float)
    for job in jobs.past_jobs(session, int(now - longest) - _LONGEST_JOB_S, now + 1):
        if job.ended_at is None or job.field not in plans:
            continue
        if now - job.ended_at <= plans[job.field].done_for:
            whole = 1.0 if job.state == "finished" else 0.0
            shares[job.field] += whole if job.done_share is None else job.done_share
    done = {field for field, share in shares.items() if share >= _ALL}
    done |= {field for field, plan in plans.items() if plan.left_out or _done(plan, farm, now)}
    return RecentlySprayed(
        frozenset(done),
        {field: 1.0 - share for field, share in shares.items() if 0.0 < share < _ALL},
    )


def _done(plan: FieldPlan, farm: Farm, now: int) -> bool:
    """Whether a field counts as done by the farm file: from the day named there on."""
    if plan.done_on is None:
        return False
    day = datetime.combine(plan.done_on, time(), farm.zone).timestamp()
    return 0 <= now - day <= plan.done_for
