"""What the last minutes of the wind say is coming for a job, as conditions."""

from collections.abc import Iterator, Mapping

from watcher.alerts import job_limits
from watcher.alerts.conditions import Key, Rule, Standing, State, Urgency
from watcher.alerts.view import View, WatchedJob
from watcher.alerts.wording import coming
from watcher.alerts.wording.coming import Coming
from watcher.alerts.wording.reasons import Speaker
from watcher.farm.models import Topic
from watcher.judge.status import Limit
from watcher.weather.nowcast import Bools

_GONE_S = 600
_WORTH_S = 600

FRONT = Rule("gust front", Topic.JOB, Urgency.NOW, _WORTH_S, clear_after_s=_GONE_S)
RISING = Rule("wind rising", Topic.JOB, Urgency.NOW, _WORTH_S, clear_after_s=_GONE_S)
GUSTS = Rule("gusts likely", Topic.JOB, Urgency.NOW, _WORTH_S, clear_after_s=_GONE_S)
# A warning is no news once what it warns of is here.
_WARNS_OF = {
    FRONT.kind: (Limit.WIND, Limit.GUST),
    RISING.kind: (Limit.WIND,),
    GUSTS.kind: (Limit.GUST,),
}


def standings(_view: View, job: WatchedJob, states: Mapping[Key, State]) -> Iterator[Standing]:
    """State for a job whether a front, a rising wind or gusts over the bound are coming."""
    if job.nowcast is None:
        return
    found = (
        (FRONT, job.nowcast.front.told, job.nowcast.front.unknown),
        (RISING, job.nowcast.trend.told, job.nowcast.trend.unknown),
        (GUSTS, job.nowcast.gust_chance.told, job.nowcast.gust_chance.unknown),
    )
    for rule, told, unknown in found:
        here = any(
            job_limits.key(job, job_limits.BROKEN, limit) in states or _breaks_now(job, limit)
            for limit in _WARNS_OF[rule.kind]
        )
        # Of a paused job no broken limit is told, so none may be broken when its warning ends.
        here = here or (job.paused and any(_breaks_now(job, limit) for limit in Limit))
        holds = None if here else _newest(told, unknown)
        yield Standing(rule, job.subject, holds, untold_before=job.taken_in_hand_at)


def _breaks_now(job: WatchedJob, limit: Limit) -> bool:
    reason = job.sight.by_limit.get(limit)
    return reason is not None and reason.stand is reason.stand.BROKEN


def _newest(told: Bools, unknown: Bools) -> bool | None:
    if told[-1]:
        return True
    return None if unknown[-1] else False


def say(speaker: Speaker, job: WatchedJob, kind: str) -> Coming | None:
    """Put one warning into words."""
    limits = job.sight.by_limit
    if job.nowcast is None:
        return None
    if kind == FRONT.kind:
        return coming.front(speaker, job.nowcast)
    if kind == RISING.kind:
        return coming.rising(speaker, job.nowcast, limits[Limit.WIND])
    return coming.gusts(speaker, job.nowcast, limits[Limit.GUST])
