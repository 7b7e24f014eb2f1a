"""What is coming for a job, as conditions: a wind likely over its bound, and a known end."""

from collections.abc import Iterator, Mapping

from watcher.alerts.conditions import ConditionKey, ConditionState, Evaluation, Rule, Urgency
from watcher.alerts.context import WatchedJob
from watcher.alerts.rules import job_limits
from watcher.farm.models import Topic
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState
from watcher.messages import wind_warning
from watcher.messages.reasons import Speaker
from watcher.messages.wind_warning import JobWarning
from watcher.weather.mean_ahead import MeanAhead

_GONE_S = 600
_WORTH_S = 600
_ENDS_SOON_S = 15 * 60
_LAST_PASS_S = 120
"""A job that is done so soon after its end needs no warning of it. [s]"""

LIKELY = Rule("wind likely over", Topic.JOB, Urgency.NOW, _WORTH_S, clear_after_s=_GONE_S)
ENDING = Rule("ends soon", Topic.JOB, Urgency.NOW, _WORTH_S, clear_after_s=_GONE_S)
"""Sunset, rain or a forecast that ends the job before it is done."""
_SIGNS = (LIKELY, ENDING)


def evaluate(
    job: WatchedJob, states: Mapping[ConditionKey, ConditionState], now: int
) -> Iterator[Evaluation]:
    """State for a job whether its wind is likely to pass the bound, and whether it ends soon."""
    # A warning is no news once what it warns of is here. Of a paused job no broken limit is said,
    # so none may be broken when its warning ends.
    breaks = [r.limit for r in job.state.limits if r.stand is LimitState.BROKEN]
    if job.nowcast is not None:
        remembered = job_limits.key(job, job_limits.BROKEN, Limit.WIND) in states
        here = bool(breaks) if job.paused else remembered or Limit.WIND in breaks
        stated = Evaluation(LIKELY, job.subject, None)
        likely = _likely(job.nowcast.mean_ahead, states.get(stated.key))
        yield stated if here else stated.but(likely)
    yield Evaluation(ENDING, job.subject, None if breaks else _ends_soon(job, now))


def signs(job: WatchedJob, states: Mapping[ConditionKey, ConditionState]) -> tuple[str, ...]:
    """Return the kinds of warnings that stand, the most urgent first."""
    return tuple(rule.kind for rule in _SIGNS if key(job, rule.kind) in states)


def key(job: WatchedJob, kind: str) -> ConditionKey:
    """Return the key of a warning of one kind about a job."""
    return ConditionKey(job.subject, kind)


def wording(speaker: Speaker, job: WatchedJob, kind: str, now: int) -> JobWarning | None:
    """Put one warning into words; None where what it rests on is gone."""
    if kind == ENDING.kind:
        by, at = job.state.breaks_by, job.state.breaks_at
        return wind_warning.ending(speaker, job.state.job.field, by, at, now) if by and at else None
    if job.nowcast is None:
        return None
    limits = job.state.by_limit
    return wind_warning.likely(speaker, job.nowcast, limits[Limit.WIND], limits.get(Limit.GUST))


def _likely(ahead: MeanAhead, state: ConditionState | None) -> bool | None:
    """Whether it is likely: what was so lasts down to a lower chance than it begins at."""
    if ahead.unknown[-1]:
        return None
    lasts = state is not None and state.not_so_since is None
    return bool(ahead.lasts[-1] if lasts else ahead.begins[-1])


def _ends_soon(job: WatchedJob, now: int) -> bool:
    at, by = job.state.breaks_at, job.state.breaks_by
    if at is None or by is None or not now < at <= now + _ENDS_SOON_S:
        return False
    return job.state.left_s > at - now + _LAST_PASS_S
