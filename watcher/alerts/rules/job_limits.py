"""The limits of the field being sprayed as conditions: broken, or unknown to the watch.

They are remembered, each with when it began and since when it is over; what is said of them is
one story a job (``job``).
"""

from collections.abc import Iterator, Mapping

from watcher.alerts.conditions import ConditionKey, ConditionState, Evaluation, Rule, Urgency
from watcher.alerts.context import WatchedJob
from watcher.farm.models import Topic
from watcher.judge.reasons import Reason
from watcher.limits.catalogue import CATALOGUE, Check, Limit
from watcher.limits.status import LimitState

_SEEN_FOR_S = 60
_BACK_ROOM = 0.05
"""Least share of a limit's scale it must be back by, so that it does not flap round its bound."""

# Limits that stand by a rule: they have no distance to a bound to be back by.
_BY_RULE = {limit for limit, entry in CATALOGUE.items() if entry.check is Check.RULE}

BROKEN = Rule("limit broken", Topic.JOB, Urgency.NOW, 2 * 3600)
"""Over when it has been back for as long as the job asks (``job_action.steady_s``)."""
BLIND = Rule("limit unknown", Topic.JOB, Urgency.NOW, 2 * 3600, clear_after_s=_SEEN_FOR_S)


def evaluate(
    job: WatchedJob, states: Mapping[ConditionKey, ConditionState], broken: Rule
) -> Iterator[Evaluation]:
    """State for every limit of a job whether it is broken and unknown.

    ``broken`` is BROKEN with how long a limit must be back.
    """
    for reason in job.state.limits:
        remembered = key(job, BROKEN, reason.limit) in states
        yield Evaluation(broken, job.subject, _broken(reason, remembered), reason.limit)
        unknown = reason.stand is LimitState.UNKNOWN
        yield Evaluation(BLIND, job.subject, unknown, reason.limit)


def key(job: WatchedJob, rule: Rule, limit: Limit) -> ConditionKey:
    """Return the key of one rule's condition on one limit of a job."""
    return Evaluation(rule, job.subject, None, limit).key


def _broken(reason: Reason, remembered: bool) -> bool | None:
    if reason.stand is LimitState.UNKNOWN:
        return None
    if reason.stand is LimitState.BROKEN:
        return True
    just_inside = reason.limit not in _BY_RULE and reason.headroom < _BACK_ROOM
    return None if remembered and just_inside else False
