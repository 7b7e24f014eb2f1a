"""The limits of the field being sprayed as conditions: broken, near, or unknown to the watch."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from watcher.alerts.conditions import Key, Rule, Standing, State, Urgency
from watcher.alerts.view import View, WatchedJob
from watcher.farm.models import Alerting, Topic
from watcher.jobs.book import Stood
from watcher.judge.plan import Plan
from watcher.judge.reasons import Reason
from watcher.judge.status import Limit, Stand

_SEEN_FOR_S = 60
_BACK_ROOM = 0.05
"""Least share of a limit's scale it must be back by, so that it does not flap round its bound."""
_WORSE_BY = 0.05
"""Share of a limit's scale by which a limit near its bound from the start must have got worse."""

# Limits that stand by a rule: they have no distance to a bound to be back by.
_BY_RULE = {Limit.INVERSION, Limit.NEIGHBOUR, Limit.DROPLETS_IN_WIND}

# How long they must be back, and when they are told again, is the farm's to say.
BROKEN = Rule("limit broken", Topic.JOB, Urgency.NOW, 2 * 3600, escalates=True)
BLIND = Rule("limit unknown", Topic.JOB, Urgency.NOW, 2 * 3600, escalates=True)
NEAR = Rule("limit near", Topic.JOB, Urgency.NOW, 1800)


def standings(view: View, job: WatchedJob, states: Mapping[Key, State]) -> Iterator[Standing]:
    """State for every limit of a job whether it is broken, near and unknown.

    What was told before the grower last acted (started it, went on with it, changed its setup) is
    told again if it still stands.
    """
    alerting = view.speaker.farm.told.alerts
    for reason in job.sight.limits:
        for rule, holds in _of_limit(view.judgement.plan, job, reason, states):
            yield Standing(
                _timed(rule, alerting),
                job.subject,
                holds,
                reason.limit,
                untold_before=job.taken_in_hand_at,
                seen_at=view.acknowledged.get(job.subject, 0),
            )


def key(job: WatchedJob, rule: Rule, limit: Limit) -> Key:
    """Return the key of one rule's condition on one limit of a job."""
    return Standing(rule, job.subject, None, limit).key


def _timed(rule: Rule, alerting: Alerting) -> Rule:
    back = _SEEN_FOR_S if rule is BLIND else round(alerting.all_clear_after)
    again = round(alerting.again_after) if rule.escalates else None
    return replace(rule, clear_after_s=back, repeat_after_s=again)


def _of_limit(
    plan: Plan, job: WatchedJob, reason: Reason, states: Mapping[Key, State]
) -> tuple[tuple[Rule, bool | None], ...]:
    told_broken = key(job, BROKEN, reason.limit) in states
    told_near = key(job, NEAR, reason.limit) in states
    near = None if told_broken else _near(plan, job, reason, told_near)
    return (
        (BROKEN, _broken(reason, told_broken)),
        (NEAR, near),
        (BLIND, reason.stand is Stand.UNKNOWN),
    )


def _broken(reason: Reason, told: bool) -> bool | None:
    if reason.stand is Stand.UNKNOWN:
        return None
    if reason.stand is Stand.BROKEN:
        return True
    just_inside = reason.limit not in _BY_RULE and reason.headroom < _BACK_ROOM
    return None if told and just_inside else False


def _near(plan: Plan, job: WatchedJob, reason: Reason, told: bool) -> bool | None:
    if reason.stand in {Stand.UNKNOWN, Stand.BROKEN}:
        return None if told else False
    if reason.stand is Stand.HOLDS or not _close(plan, job, reason):
        return False
    start: Stood | None = job.start.get(reason.limit)
    if told or start is None or start.stand is not Stand.NEAR:
        return True
    return reason.headroom < start.headroom - _WORSE_BY


def _close(plan: Plan, job: WatchedJob, reason: Reason) -> bool:
    """Whether little room is left. In the upper part of its band the wind may have plenty."""
    if reason.limit not in plan.bounds:
        return True
    margin = float(plan.bounds[reason.limit].margin[plan.fields.index(job.sight.job.field)])
    uncertain = job.sight.wind_margin if reason.limit is Limit.WIND else 0.0
    return reason.headroom < max(margin, uncertain)
