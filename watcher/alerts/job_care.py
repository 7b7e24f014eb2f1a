"""Jobs that were forgotten, whose drift retardant is worn, or that cannot be watched at all."""

from collections.abc import Iterator

from watcher.alerts.conditions import Rule, Standing, Urgency
from watcher.alerts.view import View, WatchedJob
from watcher.alerts.wording.job import JobPlace, forgotten, left_paused, retardant_worn, unwatched
from watcher.alerts.wording.words import Text
from watcher.farm.models import Topic
from watcher.judge.control import retardant_left

_OVER_S = 1800
"""Planned times are estimates: so much over is not yet forgotten."""

FORGOTTEN = Rule("job forgotten", Topic.JOB, Urgency.SOON, 2 * 3600, repeat_after_s=2 * 3600)
WORN = Rule("retardant worn", Topic.JOB, Urgency.NOW, 3600)
UNWATCHED = Rule(
    "job not watched", Topic.JOB, Urgency.NOW, 2 * 3600, repeat_after_s=1800, escalates=True
)


def standings(view: View, job: WatchedJob) -> Iterator[Standing]:
    """State whether a job is over its planned time, and whether its retardant is worn."""
    seen_at = view.acknowledged.get(job.subject, 0)
    over = job.sight.left_s < -_OVER_S or _paused_for_too_long(view, job)
    yield Standing(FORGOTTEN, job.subject, over, seen_at=seen_at)
    adjuvant = view.speaker.farm.told.setups[job.sight.job.setup].adjuvant
    started_with = retardant_left(adjuvant, 0.0)
    worn = started_with > 0 and retardant_left(adjuvant, job.tank_age_s / 60.0) <= 0
    yield Standing(WORN, job.subject, worn)


def _paused_for_too_long(view: View, job: WatchedJob) -> bool:
    paused_at = job.sight.job.paused_at
    return paused_at is not None and view.now - paused_at > max(4 * 3600, job.sight.job.planned_s)


def unwatched_standings(view: View) -> Iterator[Standing]:
    """State for the jobs that could not be looked at that nobody watches them."""
    for subject in view.unseen:
        yield Standing(UNWATCHED, subject, True, seen_at=view.acknowledged.get(subject, 0))


def say(view: View, job: WatchedJob, place: JobPlace, kind: str) -> Text:
    """Put one of these into words."""
    if kind == WORN.kind:
        return retardant_worn(place, tank_age_s=job.tank_age_s)
    paused_at = job.sight.job.paused_at
    if paused_at is not None:
        return left_paused(view.speaker, place, paused_at=paused_at, now=view.now)
    over_s = max(-job.sight.left_s, 0.0)
    return forgotten(view.speaker, place, over_s=over_s, now=view.now)


def say_unwatched(view: View, subject: str) -> Text:
    """Say that a job cannot be watched, and why."""
    field, why = view.unseen[subject]
    return unwatched(field, why)
