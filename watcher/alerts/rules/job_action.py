"""What to do with a job now: of all that is remembered of its limits and warnings, the worst."""

from collections.abc import Mapping

from watcher.alerts.conditions import ConditionKey, ConditionState, Evaluation, Rule, Urgency
from watcher.alerts.context import AlertContext, WatchedJob
from watcher.alerts.rules import job_limits, job_warnings
from watcher.alerts.rules.job_limits import BLIND, BROKEN
from watcher.farm.models import Alerting, Topic
from watcher.judge.job_action import Action, JobAction
from watcher.judge.reasons import Reason, worst_first
from watcher.limits.status import LimitState

_AGAIN_SOON_S = 20 * 60
"""A stop within so long of an all-clear is the same one, which comes and goes: of the all-clears
after ten minutes of 58 days of minutes four in ten did not last fifteen."""
_FLAPPING_STEADY_S = 20 * 60
_HOUR_S = 3600

LATELY = Rule("stopped lately", Topic.JOB, Urgency.NOW, _HOUR_S, clear_after_s=_AGAIN_SOON_S)
"""Remembered, never sent: when the stops of the last hour began."""


def steady_s(
    subject: str, states: Mapping[ConditionKey, ConditionState], alerting: Alerting, now: int
) -> float:
    """Return for how long a job's limits must be back before that is said. [s]"""
    if len(stops_lately(subject, states, now)) > 1:
        return max(_FLAPPING_STEADY_S, alerting.all_clear_after)
    return alerting.all_clear_after


def stops_lately(
    subject: str, states: Mapping[ConditionKey, ConditionState], now: int
) -> tuple[int, ...]:
    """Return when the stops of a job began that belong together. [epoch s]"""
    state = states.get(ConditionKey(subject, LATELY.kind))
    begun = state.evidence.get("begun", ()) if state is not None else ()
    return tuple(at for at in begun if now - _HOUR_S <= at <= now)


def lately(
    subject: str, stopped: bool, states: Mapping[ConditionKey, ConditionState], now: int
) -> Evaluation:
    """State whether a job is, or was a moment ago, to be stopped; remember when that began."""
    state = states.get(ConditionKey(subject, LATELY.kind))
    begun = stops_lately(subject, states, now)
    if stopped and (state is None or state.not_so_since is not None):
        begun = (*begun, now)
    return Evaluation(LATELY, subject, stopped, evidence={"begun": list(begun)})


def job_action(
    context: AlertContext, job: WatchedJob, states: Mapping[ConditionKey, ConditionState]
) -> JobAction:
    """Return what to do with a job, given what is remembered of it."""
    broken = _remembered(job, BROKEN, states)
    blind = _remembered(job, BLIND, states)
    signs = job_warnings.signs(job, states)
    stops = len(stops_lately(job.subject, states, context.now))
    steady = steady_s(job.subject, states, context.speaker.farm.config.alerts, context.now)
    evaluation = {reason: state for reason, state in broken.items() if state.not_so_since is None}
    causes = worst_first(dict.fromkeys([*(evaluation or broken), *blind]))

    def state(action: Action, since: int, at: int | None = None) -> JobAction:
        return JobAction(action, since, causes, signs, at, steady, stops)

    if job.state.job.paused_at is not None:
        return state(Action.PAUSED, job.state.job.paused_at)
    if evaluation:
        return state(Action.STOP, min(s.since for s in evaluation.values()))
    if broken:
        back = max(s.not_so_since or context.now for s in broken.values())
        return state(Action.WAIT, back, back + round(steady))
    if blind:
        return state(Action.CANNOT_SEE, min(s.since for s in blind.values()))
    if signs:
        return state(Action.GET_READY, min(states[job_warnings.key(job, s)].since for s in signs))
    return state(Action.GO_ON, job.taken_in_hand_at)


def _remembered(
    job: WatchedJob, rule: Rule, states: Mapping[ConditionKey, ConditionState]
) -> dict[Reason, ConditionState]:
    return {
        reason: state
        for reason in job.state.limits
        if (state := states.get(job_limits.key(job, rule, reason.limit))) is not None
        and (rule is not BLIND or reason.stand is LimitState.UNKNOWN)
    }
