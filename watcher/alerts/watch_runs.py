"""What is sent when the watch starts and stops: silence must mean that all is well."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from hashlib import sha256

from sqlalchemy.orm import Session

from watcher.alerts.alert import Alert
from watcher.alerts.conditions import Rule, Urgency
from watcher.alerts.enqueue import Enqueue
from watcher.farm.models import Topic
from watcher.i18n.message import Message
from watcher.messages.watch import (
    clock_doubted,
    clock_jumped,
    farm_mistaken,
    faulty,
    log_lost,
    secrets_troubled,
    stopping,
    stopping_blind,
    time_unknown,
    was_down,
)
from watcher.store import jobs, outbox, runs
from watcher.store.last_known import Loss
from watcher.store.tables import WatchRun

_WORTH_TELLING_S = 300
"""A restart shorter than this, with no job open, is nobody's business."""
_NOT_AGAIN_WITHIN_S = 600
"""A watch that keeps crashing must not bury the one who sprays in messages about itself."""
_HOUR_S = 3600
_DAY_S = 86_400
_DOWN = Rule("watch was down", Topic.SOURCES, Urgency.SOON, 12 * 3600)
_DOWN_IN_JOB = Rule("watch was down", Topic.JOB, Urgency.NOW, 2 * 3600)
_STOPS = Rule("watch stops", Topic.JOB, Urgency.NOW, 2 * 3600)
_FAULT = Rule("watch has a fault", Topic.SOURCES, Urgency.SOON, 12 * 3600)
_FAULT_IN_JOBS = Rule("watch has a fault", Topic.JOB, Urgency.NOW, 3600)
_LOST = Rule("log lost", Topic.SOURCES, Urgency.SOON, 12 * 3600)
_LOST_IN_JOB = Rule("log lost", Topic.JOB, Urgency.NOW, 12 * 3600)
_MISTAKEN = Rule("farm file mistaken", Topic.SOURCES, Urgency.SOON, 24 * 3600)
_SECRETS_SEEN = Rule("secrets seen by others", Topic.SOURCES, Urgency.SOON, 24 * 3600)
_SECRETS_LOST = Rule("secrets lost", Topic.SOURCES, Urgency.NOW, 24 * 3600)
_JUMPED = Rule("clock jumped", Topic.JOB, Urgency.NOW, 3600)
_TIME_LOST = Rule("time unknown", Topic.SOURCES, Urgency.SOON, 12 * 3600)
_TIME_LOST_IN_JOB = Rule("time unknown", Topic.JOB, Urgency.NOW, 2 * 3600)
_SUBJECT = "watch"


def tell_start(session: Session, post: Enqueue, now: int, before: WatchRun | None = None) -> int:
    """Tell from when to when nobody watched, and what was missed.

    ``before`` is the run before this one; to be given once this run is noted.
    """
    before = before or runs.last(session)
    if before is None:
        return 0
    since = min(before.last_alive_at, now)
    open_jobs = jobs.open_jobs(session)
    if now - since < _WORTH_TELLING_S:
        crashed_in_job = open_jobs and before.stopped_at is None
        if not crashed_in_job or outbox.written_since(
            session, _DOWN.kind, now - _NOT_AGAIN_WITHIN_S
        ):
            return 0
    lost = outbox.unsent_since(session, since)
    text = was_down(
        post.speaker, since, now, crashed=before.stopped_at is None, jobs=open_jobs, lost=lost
    )
    rule = _DOWN_IN_JOB if open_jobs else _DOWN
    return post(session, Alert(rule, _SUBJECT, f"watch/down/{before.id}/{since}", text, now), now)


def tell_loss(session: Session, post: Enqueue, loss: Loss, now: int) -> int:
    """Tell everyone what became of the log while nobody watched, and ask for the lost jobs."""
    rule = _LOST if loss.jobs == () and not loss.over else _LOST_IN_JOB
    key = f"watch/lost/{loss.trouble}/{loss.found_at}"
    return _to_all(
        session, post, Alert(rule, _SUBJECT, key, log_lost(post.speaker, loss, now), now), now
    )


def tell_mistakes(
    session: Session, post: Enqueue, mistakes: Sequence[str], checked_at: int, now: int
) -> int:
    """Tell everyone that an earlier farm file is used, once for the same mistakes in a new one.

    ``checked_at`` is when the farm that is used was last found to be without one.
    """
    what = sha256("\n".join(mistakes).encode()).hexdigest()[:12]
    text = farm_mistaken(post.speaker, mistakes, checked_at, now)
    key = f"watch/farm/{checked_at}/{what}"
    return _to_all(session, post, Alert(_MISTAKEN, _SUBJECT, key, text, now), now)


def tell_secrets(
    session: Session, post: Enqueue, troubles: Sequence[Message], now: int, *, lost: bool
) -> int:
    """Tell everyone who can be reached still what was wrong with the file of secrets, once a day.

    ``lost``: somebody may be reached no more, so that devices hear it, too.
    """
    what = sha256("\n".join(map(str, troubles)).encode()).hexdigest()[:12]
    key = f"watch/secrets/{what}/{now // _DAY_S}"
    rule = _SECRETS_LOST if lost else _SECRETS_SEEN
    return _to_all(session, post, Alert(rule, _SUBJECT, key, secrets_troubled(troubles), now), now)


def _to_all(session: Session, post: Enqueue, alert: Alert, now: int) -> int:
    """Tell everyone, whatever else they hear of: without it nothing else may reach them."""
    everyone = post.people.everyone(urgent=alert.rule.urgency is Urgency.NOW)
    return sum(post(session, replace(alert, to=who), now) for who in everyone)


def tell_stop(session: Session, post: Enqueue, now: int) -> int:
    """Tell, before the watch stops, that the jobs still open are watched by nobody."""
    open_jobs = jobs.open_jobs(session)
    if not open_jobs:
        return 0
    text = stopping(open_jobs)
    return post(session, Alert(_STOPS, _SUBJECT, f"watch/stops/{now}", text, now), now)


def tell_blind_stop(session: Session, post: Enqueue, why: str, now: int) -> int:
    """Tell, before the watch stops, that its log cannot be used and nobody watches any field."""
    text = stopping_blind(why)
    return post(session, Alert(_STOPS, _SUBJECT, f"watch/stops/{now}", text, now), now)


def tell_clock_jump(session: Session, post: Enqueue, now: int, by_s: float, since: int) -> int:
    """Tell those who spray, once, that the machine's clock jumped and the watch goes on by its own.

    ``since`` is when it jumped, by the watch's own time.
    """
    if not jobs.open_jobs(session):
        return 0
    key = f"watch/clock/{since}"
    return post(session, Alert(_JUMPED, _SUBJECT, key, clock_doubted(by_s), now), now)


def tell_clock_set(session: Session, post: Enqueue, now: int, by_s: float) -> int:
    """Tell those who spray that the watch's clock was set: ages and times it gave may be wrong."""
    if not jobs.open_jobs(session):
        return 0
    key = f"watch/clock set/{now}"
    return post(session, Alert(_JUMPED, _SUBJECT, key, clock_jumped(by_s), now), now)


def tell_time_unknown(session: Session, post: Enqueue, now: int, by_s: float, since: int) -> int:
    """Tell, once, that the clock contradicts everybody else's, so that nothing can be judged."""
    rule = _TIME_LOST_IN_JOB if jobs.open_jobs(session) else _TIME_LOST
    key = f"watch/time/{rule.topic}/{since}"
    return post(session, Alert(rule, _SUBJECT, key, time_unknown(by_s), now), now)


def fault_alert(in_jobs: bool, kinds: Iterable[str], error: Exception, now: int) -> Alert:
    """Say that a part of the alerts has a fault and tells nothing; the same once an hour."""
    what = sorted(kinds)
    rule = _FAULT_IN_JOBS if in_jobs else _FAULT
    key = f"watch/fault/{what[0]}/{now // _HOUR_S}"
    return Alert(rule, _SUBJECT, key, faulty(what, type(error).__name__), now)
