"""All that is told about jobs: their limits, what is coming, and what nobody should forget."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from watcher.alerts import job_care, job_coming, job_limits
from watcher.alerts.conditions import Change, Key, News, Rule, Standing, State, Urgency
from watcher.alerts.job_care import FORGOTTEN, UNWATCHED, WORN
from watcher.alerts.job_coming import FRONT, GUSTS, RISING
from watcher.alerts.job_limits import BLIND, BROKEN, NEAR
from watcher.alerts.notices import Notice
from watcher.alerts.view import View, WatchedJob
from watcher.alerts.wording.job import (
    DID_NOT_COME,
    SEES_AGAIN,
    JobPlace,
    all_clear,
    back_for,
    job_alert,
    not_acknowledged,
)
from watcher.alerts.wording.words import Text
from watcher.farm.models import Topic
from watcher.judge.reasons import Reason
from watcher.judge.status import Stand
from watcher.store.tables import Message

ALL_CLEAR = Rule("all clear", Topic.JOB, Urgency.NOW, 3600, overtakes=True)
_GRAVITY = {rule.kind: 0 for rule in (NEAR, FRONT, RISING, GUSTS)} | {
    BLIND.kind: 1,
    BROKEN.kind: 2,
}
_COMING = frozenset({FRONT.kind, RISING.kind, GUSTS.kind})
_ANSWERED = frozenset(rule.kind for rule in (BROKEN, BLIND, UNWATCHED) if rule.escalates)
KINDS = frozenset(_GRAVITY) | {FORGOTTEN.kind, WORN.kind, UNWATCHED.kind}


def standings(view: View, states: Mapping[Key, State]) -> Iterator[Standing]:
    """State everything about every open job. While one is paused nothing new is raised of it."""
    for job in view.jobs:
        found = (
            *job_limits.standings(view, job, states),
            *job_coming.standings(view, job, states),
        )
        yield from (_while_paused(s, states) for s in found) if job.paused else found
        yield from job_care.standings(view, job)
    yield from job_care.unwatched_standings(view)


def _while_paused(standing: Standing, states: Mapping[Key, State]) -> Standing:
    """Nobody is spraying: what is not yet told is no news, and what is told need not be again."""
    if standing.holds is not True:
        return standing
    return standing.but(holds=None if standing.key in states else False)


def tell(view: View, news: Sequence[News], lasting: Mapping[Key, State]) -> Iterable[Notice]:
    """One notice a job for what is new of its limits and of what is coming; the rest singly."""
    for job in view.jobs:
        about = [n for n in news if n.standing.subject == job.subject]
        notice = _of_limits(view, job, [n for n in about if n.kind in _GRAVITY], lasting)
        if notice is not None:
            yield notice
        for item in about:
            if item.kind not in _GRAVITY and item.change is not Change.CLEARED:
                text = job_care.say(view, job, place(job), item.kind)
                yield _notice(item.standing.rule, job.subject, [item], text, view.now)
        # What was told and has meanwhile come back, though not yet for long, need wake nobody else.
        stands = [r for _, r in _still_told(job, lasting) if r.stand <= Stand.UNKNOWN]
        if stands and not job.paused:
            for asked in _overdue(view, job.subject):
                yield _to_backup(view, BROKEN, asked, _alert(view, job, stands, [], ()))
    yield from _tell_unwatched(view, news)


def _tell_unwatched(view: View, news: Sequence[News]) -> Iterator[Notice]:
    raised = [n for n in news if n.kind == UNWATCHED.kind and n.change is not Change.CLEARED]
    for item in raised:
        text = job_care.say_unwatched(view, item.standing.subject)
        yield _notice(UNWATCHED, item.standing.subject, [item], text, view.now)
    for subject in view.unseen:
        for asked in _overdue(view, subject):
            yield _to_backup(view, UNWATCHED, asked, job_care.say_unwatched(view, subject))


def _of_limits(
    view: View, job: WatchedJob, news: Sequence[News], lasting: Mapping[Key, State]
) -> Notice | None:
    worse = [n for n in news if n.change is not Change.CLEARED]
    left = _still_told(job, lasting)
    if worse:
        changed = _reasons(job, worse)
        others = [r for _, r in left if r not in changed]
        text = _alert(view, job, changed, others, {n.kind for n in worse})
        rule = _gravest(worse).standing.rule
        return _notice(rule, job.subject, worse, text, view.now)
    if not news or any(_GRAVITY[kind] >= _GRAVITY[_gravest(news).kind] for kind, _ in left):
        return None
    text = all_clear(
        view.speaker,
        place(job),
        _reasons(job, news),
        [r for _, r in left],
        why=_why_clear(job, news, view.now),
        outlook=view.outlook.of(job.sight.job.field),
    )
    return _notice(ALL_CLEAR, job.subject, news, text, view.now)


def _alert(
    view: View,
    job: WatchedJob,
    changed: Sequence[Reason],
    others: Sequence[Reason],
    kinds: Iterable[str],
) -> Text:
    coming = (job_coming.say(view.speaker, job, k) for k in sorted(_COMING & set(kinds)))
    return job_alert(
        view.speaker,
        place(job),
        changed,
        others,
        outlook=view.outlook.of(job.sight.job.field),
        coming=[c for c in coming if c is not None],
    )


def _why_clear(job: WatchedJob, news: Sequence[News], now: int) -> str:
    gravest = _gravest(news).kind
    if gravest == BLIND.kind:
        return SEES_AGAIN
    # Whoever paused on a warning was not told whether it came.
    if all(n.kind in _COMING for n in news) and not job.paused:
        return DID_NOT_COME
    back = min(now - (n.state.not_so_since or now) for n in news if n.kind == gravest)
    return back_for(back)


def _gravest(news: Sequence[News]) -> News:
    return max(news, key=lambda n: _GRAVITY[n.kind])


def _still_told(job: WatchedJob, lasting: Mapping[Key, State]) -> list[tuple[str, Reason]]:
    """The limits of a job that were told and are not yet over, with the kind they were told as."""
    return [
        (rule.kind, reason)
        for reason in job.sight.limits
        for rule in (BROKEN, BLIND, NEAR)
        if (state := lasting.get(job_limits.key(job, rule, reason.limit))) is not None
        and state.said_at is not None
    ]


@dataclass(frozen=True)
class _Asked:
    """A message that was to be acknowledged and was not; who is told next, and after how long."""

    message: Message
    backup: str
    after_s: float


def _overdue(view: View, subject: str) -> Iterator[_Asked]:
    """The messages about a subject nobody has acknowledged in time, where there is a backup."""
    recipients = view.speaker.farm.told.recipients
    seen_at = view.acknowledged.get(subject, 0)
    about = [m for m in view.unanswered if m.about == subject and m.kind in _ANSWERED]
    for message in about:
        told = recipients.get(message.recipient)
        backup = told.backup if told else None
        has_it = {m.recipient for m in about if m.short_id == message.short_id}
        if told is None or backup is None or backup not in recipients or backup in has_it:
            continue
        if seen_at < message.created_at <= view.now - told.backup_after:
            yield _Asked(message, backup, told.backup_after)


def _to_backup(view: View, rule: Rule, asked: _Asked, text: Text) -> Notice:
    message = asked.message
    return Notice(
        rule,
        message.about,
        f"{message.key}/to/{asked.backup}",
        not_acknowledged(text, message.recipient, asked.after_s),
        view.now,
        to=asked.backup,
        ref=message.short_id,
    )


def _reasons(job: WatchedJob, news: Sequence[News]) -> list[Reason]:
    limits = {n.standing.about for n in news}
    return [r for r in job.sight.limits if r.limit in limits]


def place(job: WatchedJob) -> JobPlace:
    """Return what the wording needs to know of a job."""
    sight = job.sight
    return JobPlace(
        field=sight.job.field,
        setup=sight.job.setup,
        left_s=max(sight.left_s, 0.0),
        holds_again_at=sight.holds_again_at,
        breaks_at=sight.breaks_at,
        other_setup=sight.other_setup,
    )


def _notice(rule: Rule, subject: str, news: Sequence[News], text: Text, now: int) -> Notice:
    what = "+".join(sorted(n.standing.key.kind for n in news))
    return Notice(rule, subject, f"{subject}/{rule.kind}/{what}/{now}", text, now)
