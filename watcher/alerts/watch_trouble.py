"""What is sent when the watch cannot judge, or cannot write down what it judges, and when it can.

It is remembered like every condition, in the log that is used at the moment: so a restart neither
forgets nor repeats it, and one that is over is said to be over by whoever finds it remembered.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from watcher.alerts import condition_states
from watcher.alerts.alert import Alert
from watcher.alerts.conditions import (
    ConditionKey,
    ConditionState,
    Evaluation,
    Rule,
    TransitionKind,
    Urgency,
    advance,
)
from watcher.alerts.enqueue import Enqueue
from watcher.farm.models import Topic
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text
from watcher.messages.watch import cannot_judge, cannot_write, sees_again
from watcher.store import jobs, outbox

_SUBJECT = "watch"
_SEEN_BACK_S = 12 * 3600
CANNOT_JUDGE = Rule(
    "watch cannot judge", Topic.JOB, Urgency.NOW, 3600, repeat_after_s=1800, escalates=True
)
CANNOT_WRITE = Rule(
    "watch cannot write", Topic.JOB, Urgency.NOW, 3600, repeat_after_s=1800, escalates=True
)
_SEES = Rule("watch sees again", Topic.JOB, Urgency.NOW, 3600, overtakes=True)
_JUDGE, _WRITE = (ConditionKey(_SUBJECT, rule.kind) for rule in (CANNOT_JUDGE, CANNOT_WRITE))
KINDS = frozenset({CANNOT_JUDGE.kind, CANNOT_WRITE.kind})


@dataclass(frozen=True)
class Trouble:
    """What is wrong with the watch itself at one moment. ``why`` is for whoever mends it."""

    why: str = ""
    judges: bool = True
    writes: bool = True
    knows_jobs: bool = True
    """Whether it is known who is spraying."""


WELL = Trouble()


def tell(session: Session, post: Enqueue, trouble: Trouble, now: int) -> int:
    """Tell what is new of a trouble, again while it lasts and a job runs, and when it is over.

    Returns how many messages are new in the outbox.
    """
    running = [job for job in jobs.open_jobs(session) if job.state == "running"]
    urgent = bool(running) or not trouble.knows_jobs
    before = {k: s for k, s in condition_states.load(session).items() if k.of_kind in KINDS}
    seen_at = outbox.acknowledged(session, now - _SEEN_BACK_S).get(_SUBJECT, 0)
    evaluations = [
        Evaluation(_when(rule, urgent), _SUBJECT, holds, seen_at=seen_at)
        for rule, holds in (
            (CANNOT_JUDGE, not trouble.judges),
            (CANNOT_WRITE, not trouble.writes),
        )
    ]
    lasting, transitions = advance(evaluations, before, now)
    condition_states.save(session, before, lasting, now)
    raised = {n.kind for n in transitions if n.change is not TransitionKind.CLEARED}
    if not transitions or (_JUDGE in lasting and CANNOT_JUDGE.kind not in raised):
        return 0  # what is graver was announced already
    rule, text = _said(post.speaker, trouble.why, before, lasting, now)
    key = f"{_SUBJECT}/{rule.kind}/{now}"
    return post(session, Alert(_when(rule, urgent), _SUBJECT, key, text, now), now)


def remembered(session: Session) -> bool:
    """Return whether a trouble was announced that is not yet announced as over."""
    return any(key.of_kind in KINDS for key in condition_states.load(session))


def _when(rule: Rule, urgent: bool) -> Rule:
    """With nobody spraying it may wait for the end of quiet hours, and is said once."""
    if urgent:
        return rule
    return replace(rule, urgency=Urgency.SOON, repeat_after_s=None, expires_after_s=12 * 3600)


def _said(
    speaker: Speaker,
    why: str,
    before: Mapping[ConditionKey, ConditionState],
    lasting: Mapping[ConditionKey, ConditionState],
    now: int,
) -> tuple[Rule, Text]:
    """Put into words how it is now: the graver of both troubles, or that all is over."""
    blind_since = before[_JUDGE].since if _JUDGE in before else None
    if _JUDGE in lasting:
        return CANNOT_JUDGE, cannot_judge(speaker, why, lasting[_JUDGE].since, now)
    if _WRITE in lasting:
        return CANNOT_WRITE, cannot_write(speaker, why, blind_since=blind_since, now=now)
    unwritten_since = before[_WRITE].since if _WRITE in before else None
    return _SEES, sees_again(speaker, now, blind_since=blind_since, unwritten_since=unwritten_since)
