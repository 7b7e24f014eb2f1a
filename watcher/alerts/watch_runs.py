"""What is told when the watch starts and stops: silence must mean that all is well."""

from collections.abc import Iterable

from sqlalchemy.orm import Session

from watcher.alerts.conditions import Rule, Urgency
from watcher.alerts.notices import Notice
from watcher.alerts.posting import Post
from watcher.alerts.wording.watch import clock_jumped, faulty, sees_again, stopping, was_down
from watcher.farm.models import Topic
from watcher.store import jobs, outbox, runs

_WORTH_TELLING_S = 300
"""A restart shorter than this, with no job open, is nobody's business."""
_NOT_AGAIN_WITHIN_S = 600
"""A watch that keeps crashing must not bury the one who sprays in messages about itself."""
_HOUR_S = 3600
_DOWN = Rule("watch was down", Topic.SOURCES, Urgency.SOON, 12 * 3600)
_DOWN_IN_JOB = Rule("watch was down", Topic.JOB, Urgency.NOW, 2 * 3600)
_STOPS = Rule("watch stops", Topic.JOB, Urgency.NOW, 2 * 3600)
_FAULT = Rule("watch has a fault", Topic.SOURCES, Urgency.SOON, 12 * 3600)
_FAULT_IN_JOBS = Rule("watch has a fault", Topic.JOB, Urgency.NOW, 3600)
_SEES = Rule("watch sees again", Topic.JOB, Urgency.NOW, 3600)
_JUMPED = Rule("clock jumped", Topic.JOB, Urgency.NOW, 3600)
_SUBJECT = "watch"


def tell_start(session: Session, post: Post, now: int) -> int:
    """Tell, before this run is noted, from when to when nobody watched, and what was missed."""
    before = runs.last(session)
    if before is None:
        return 0
    since = min(before.last_alive_at, now)
    open_jobs = jobs.open_jobs(session)
    if now - since < _WORTH_TELLING_S:
        crashed_in_job = open_jobs and before.stopped_at is None
        if not crashed_in_job or outbox.told_lately(session, _DOWN.kind, now - _NOT_AGAIN_WITHIN_S):
            return 0
    lost = outbox.unsent_since(session, since)
    text = was_down(
        post.speaker, since, now, crashed=before.stopped_at is None, jobs=open_jobs, lost=lost
    )
    rule = _DOWN_IN_JOB if open_jobs else _DOWN
    return post(session, Notice(rule, _SUBJECT, f"watch/down/{before.id}/{since}", text, now), now)


def tell_stop(session: Session, post: Post, now: int) -> int:
    """Tell, before the watch stops, that the jobs still open are watched by nobody."""
    open_jobs = jobs.open_jobs(session)
    if not open_jobs:
        return 0
    text = stopping(open_jobs)
    return post(session, Notice(_STOPS, _SUBJECT, f"watch/stops/{now}", text, now), now)


def tell_sight(session: Session, post: Post, since: int, now: int) -> int:
    """Tell everyone who was told past the log that it could not be used that it can be again."""
    text = sees_again(post.speaker, since, now)
    return post(session, Notice(_SEES, _SUBJECT, f"watch/sees/{now}", text, now), now)


def tell_clock_jump(session: Session, post: Post, now: int, by_s: float) -> int:
    """Tell those who spray that the clock of the machine jumped: ages and times may be wrong."""
    open_jobs = jobs.open_jobs(session)
    if not open_jobs:
        return 0
    text = clock_jumped(by_s)
    return post(session, Notice(_JUMPED, _SUBJECT, f"watch/clock/{now}", text, now), now)


def fault_notice(in_jobs: bool, kinds: Iterable[str], error: Exception, now: int) -> Notice:
    """Say that a part of the alerts has a fault and tells nothing; the same once an hour."""
    what = sorted(kinds)
    rule = _FAULT_IN_JOBS if in_jobs else _FAULT
    key = f"watch/fault/{what[0]}/{now // _HOUR_S}"
    return Notice(rule, _SUBJECT, key, faulty(what, type(error).__name__), now)
