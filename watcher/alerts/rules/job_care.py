"""Jobs that were forgotten, whose drift retardant is worn, or that cannot be watched at all."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from watcher.alerts.conditions import ConditionKey, ConditionState, Evaluation, Rule, Urgency
from watcher.alerts.context import AlertContext, WatchedJob
from watcher.farm.models import Topic
from watcher.limits.weed_control import retardant_left
from watcher.messages.job import JobPlace, forgotten, left_paused, retardant_worn, unwatched
from watcher.messages.text import Text

_OVER_S = 1800
"""Planned times are estimates: so much over is not yet forgotten."""

_ASKS_EVERY_S = 2 * 3600
_ASKS_TIMES = 3
"""Whoever does not answer so often will not answer."""
_PAUSED_LONG_S = 3600

FORGOTTEN = Rule(
    "job forgotten", Topic.JOB, Urgency.SOON, _ASKS_EVERY_S, repeat_after_s=_ASKS_EVERY_S
)
_ASKED_ENOUGH = replace(FORGOTTEN, repeat_after_s=None)
WORN = Rule("retardant worn", Topic.JOB, Urgency.NOW, 3600)
UNWATCHED = Rule(
    "job not watched", Topic.JOB, Urgency.NOW, 2 * 3600, repeat_after_s=1800, escalates=True
)


def evaluate(
    context: AlertContext, job: WatchedJob, states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State whether a job is over its planned time, and whether its retardant is worn."""
    seen_at = context.acknowledged.get(job.subject, 0)
    over = job.state.left_s < -_OVER_S or _paused_for_too_long(context, job)
    yield Evaluation(_asks(job, states), job.subject, over, seen_at=seen_at)
    adjuvant = context.speaker.farm.config.setups[job.state.job.setup].adjuvant
    started_with = retardant_left(adjuvant, 0.0)
    worn = started_with > 0 and retardant_left(adjuvant, job.tank_age_s / 60.0) <= 0
    yield Evaluation(WORN, job.subject, worn)


def _asks(job: WatchedJob, states: Mapping[ConditionKey, ConditionState]) -> Rule:
    """Return the rule of a forgotten job: with how often it is asked about from now on."""
    state = states.get(ConditionKey(job.subject, FORGOTTEN.kind))
    if state is None or state.said_at is None:
        return FORGOTTEN
    last = state.said_at - state.since >= (_ASKS_TIMES - 1) * _ASKS_EVERY_S
    return _ASKED_ENOUGH if last else FORGOTTEN


def _paused_for_too_long(context: AlertContext, job: WatchedJob) -> bool:
    paused_at = job.state.job.paused_at
    return paused_at is not None and context.now - paused_at >= _PAUSED_LONG_S


def evaluate_unwatched(context: AlertContext) -> Iterator[Evaluation]:
    """State for the jobs that could not be looked at that nobody watches them."""
    for subject in context.unseen:
        yield Evaluation(UNWATCHED, subject, True, seen_at=context.acknowledged.get(subject, 0))


def wording(context: AlertContext, job: WatchedJob, place: JobPlace, kind: str) -> Text:
    """Put one of these into words."""
    if kind == WORN.kind:
        return retardant_worn(place, tank_age_s=job.tank_age_s)
    paused_at = job.state.job.paused_at
    if paused_at is not None:
        return left_paused(context.speaker, place, paused_at=paused_at, now=context.now)
    over_s = max(-job.state.left_s, 0.0)
    return forgotten(context.speaker, place, over_s=over_s, now=context.now)


def say_unwatched(context: AlertContext, subject: str) -> Text:
    """Say that a job cannot be watched, and why."""
    field, why = context.unseen[subject]
    return unwatched(field, why)
