"""All that is said about jobs: one story of what to do, and what nobody should forget."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import structlog

from watcher.alerts.alert import Alert
from watcher.alerts.conditions import (
    ConditionKey,
    ConditionState,
    Evaluation,
    Rule,
    Transition,
    TransitionKind,
    Urgency,
    advance,
)
from watcher.alerts.context import AlertContext, WatchedJob
from watcher.alerts.rules import job_care, job_limits, job_warnings
from watcher.alerts.rules.job_action import LATELY, job_action, lately, steady_s
from watcher.alerts.rules.job_care import FORGOTTEN, UNWATCHED, WORN
from watcher.alerts.rules.job_limits import BLIND, BROKEN
from watcher.alerts.rules.job_warnings import ENDING, LIKELY
from watcher.farm.models import Topic
from watcher.i18n.message import Message
from watcher.judge.job_action import Action, JobAction
from watcher.judge.remedies import Case, Remedy, remedies
from watcher.limits.status import LimitState
from watcher.messages.job import (
    DID_NOT_COME,
    SEES_AGAIN,
    JobPlace,
    all_clear,
    cannot_see,
    get_ready,
    inside_for,
    not_acknowledged,
    stop,
)
from watcher.messages.text import Text
from watcher.store import tables

log = structlog.get_logger("watcher.alerts")

STOP = Rule("stop", Topic.JOB, Urgency.NOW, 2 * 3600, escalates=True)
CANNOT_SEE = Rule("cannot see", Topic.JOB, Urgency.NOW, 2 * 3600, escalates=True)
GET_READY = Rule("get ready", Topic.JOB, Urgency.NOW, 600)
ALL_CLEAR = Rule("all clear", Topic.JOB, Urgency.NOW, 3600, overtakes=True)

_SAID = {rule.kind: rule for rule in (GET_READY, CANNOT_SEE, STOP)}
"""What to do as it is said, the least grave first. Each is named like its action."""
REMEMBERED = frozenset(rule.kind for rule in (BROKEN, BLIND, LIKELY, ENDING, LATELY))
"""What decides what to do, and is never said by itself."""
_ANSWERED = frozenset(rule.kind for rule in (STOP, CANNOT_SEE, UNWATCHED) if rule.escalates)
KINDS = frozenset(_SAID) | REMEMBERED | {FORGOTTEN.kind, WORN.kind, UNWATCHED.kind}

_LADDER = (1, 2, 4)
"""It is said again after so many times ``again_after``, the longer the longer it stands."""
_MUCH_LATER_S = 2 * 3600
"""A next step so much later than was said is worth a message: somebody is waiting for it. [s]"""
_RENEWED_AFTER_S = 30 * 60


def evaluate(
    context: AlertContext, states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State everything about every open job."""
    for job in context.jobs:
        found = list(_of_weather(context, job, states))
        yield from found
        # What is remembered after this cycle decides what to do now.
        remembered, _ = advance(found, states, context.now)
        said = {key: state for key, state in states.items() if key.of_kind in {*_SAID, LATELY.kind}}
        yield from _of_action(context, job, remembered | said)
        yield from job_care.evaluate(context, job, states)
    yield from job_care.evaluate_unwatched(context)


def _of_weather(
    context: AlertContext, job: WatchedJob, states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State the limits of a job and what is coming.

    Of a paused one nothing new is raised, unless its grower waits for an all-clear.
    """
    steady = steady_s(job.subject, states, context.speaker.farm.config.alerts, context.now)
    found = (
        *job_limits.evaluate(job, states, replace(BROKEN, clear_after_s=round(steady))),
        *job_warnings.evaluate(job, states, context.now),
    )
    waits = any(ConditionKey(job.subject, kind) in states for kind in _SAID)
    resting = job.paused and not waits
    yield from (_while_resting(s, states) for s in found) if resting else found


def _while_resting(
    evaluation: Evaluation, states: Mapping[ConditionKey, ConditionState]
) -> Evaluation:
    """Nobody is spraying: what is not yet said is no news, and what is said need not be again."""
    if evaluation.holds is not True:
        return evaluation
    return evaluation.but(holds=None if evaluation.key in states else False)


def _of_action(
    context: AlertContext, job: WatchedJob, states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State of each thing there is to do whether it is that: the gravest one only.

    What was said and is less grave than what stands now is neither over nor said again.
    """
    kinds = {key.of_kind for key in states if key.subject == job.subject}
    so = {
        STOP.kind: BROKEN.kind in kinds,
        CANNOT_SEE.kind: BLIND.kind in kinds,
        GET_READY.kind: bool(kinds & {LIKELY.kind, ENDING.kind}),
    }
    yield lately(job.subject, so[STOP.kind], states, context.now)
    state_now = job_action(context, job, states)
    # Just inside its limits, not yet steady: nothing to say until it is either.
    unsettled = state_now.action is Action.STOP and not _stands(state_now)
    for kind, rule in _SAID.items():
        evaluation = Evaluation(
            rule,
            job.subject,
            so[kind],
            unsaid_before=job.taken_in_hand_at,
            seen_at=context.acknowledged.get(job.subject, 0),
        )
        state = states.get(evaluation.key)
        if so[kind] and (state_now.action.value != kind or unsettled):
            evaluation = evaluation.but(None if state is not None else False)
        elif state is not None and job.paused and (state_now.causes or _any_stands(job)):
            # What began in the pause is not said, nor is it clear.
            evaluation = evaluation.but(None)
        yield _again(context, job, evaluation, state, blind=_blind(state_now))


def _blind(state: JobAction) -> bool:
    """Whether what called for the stop cannot be seen any more."""
    return bool(state.causes) and state.causes[0].stand is LimitState.UNKNOWN


def _again(
    context: AlertContext,
    job: WatchedJob,
    evaluation: Evaluation,
    state: ConditionState | None,
    *,
    blind: bool,
) -> Evaluation:
    """Give a thing to do when it is said again.

    Less and less often, when its end moves, and when what stands cannot be seen any more.
    """
    again_at = job.state.holds_again_at
    if state is None or state.said_at is None:
        return replace(evaluation, evidence={"again": again_at, "blind": blind})
    said_again = state.evidence.get("again")
    later = again_at is None or (said_again is not None and again_at - said_again > _MUCH_LATER_S)
    moved = said_again is not None and later and context.now - state.said_at >= _RENEWED_AFTER_S
    hidden = blind and not state.evidence.get("blind", False)
    renewed = evaluation.rule is STOP and evaluation.holds is True and (moved or hidden)
    rule = evaluation.rule
    if rule.escalates:
        every = context.speaker.farm.config.alerts.again_after
        stood = state.said_at - state.since
        step = sum(stood >= sum(_LADDER[:n]) * every for n in range(1, len(_LADDER)))
        rule = replace(rule, repeat_after_s=round(_LADDER[step] * every))
    evidence = {"again": again_at if renewed else said_again, "blind": blind}
    return replace(evaluation, rule=rule, renewed=renewed, evidence=evidence)


def tell(
    context: AlertContext,
    transitions: Sequence[Transition],
    lasting: Mapping[ConditionKey, ConditionState],
) -> Iterable[Alert]:
    """One alert a job for what to do now; the rest singly."""
    for job in context.jobs:
        about = [n for n in transitions if n.evaluation.subject == job.subject]
        state = job_action(context, job, lasting)
        alert = _of_state(context, job, state, [n for n in about if n.kind in _SAID])
        if alert is not None:
            yield alert
        for item in about:
            if (
                item.kind in {FORGOTTEN.kind, WORN.kind}
                and item.change is not TransitionKind.CLEARED
            ):
                text = job_care.wording(context, job, place(job), item.kind)
                yield _alert(item.evaluation.rule, job.subject, [item], text, context.now)
        # What was said and has meanwhile come back, though not yet for long, need wake nobody else.
        if state.action in {Action.STOP, Action.CANNOT_SEE} and _stands(state):
            before = lasting.get(ConditionKey(job.subject, state.action))
            # What was said of an earlier stop, or before the grower's last step, is answered.
            since = max(job.taken_in_hand_at, context.now if before is None else before.since)
            for asked in _overdue(context, job.subject, since):
                yield _to_backup(context, _SAID[state.action], asked, _text(context, job, state))
    yield from _tell_unwatched(context, transitions)


def actions(
    context: AlertContext, states: Mapping[ConditionKey, ConditionState]
) -> dict[int, JobAction]:
    """Return what to do with each job that can be watched, by its number."""
    return {job.state.job.id: job_action(context, job, states) for job in context.jobs}


def _tell_unwatched(context: AlertContext, transitions: Sequence[Transition]) -> Iterator[Alert]:
    raised = [
        n
        for n in transitions
        if n.kind == UNWATCHED.kind and n.change is not TransitionKind.CLEARED
    ]
    for item in raised:
        text = job_care.say_unwatched(context, item.evaluation.subject)
        yield _alert(UNWATCHED, item.evaluation.subject, [item], text, context.now)
    for subject in context.unseen:
        for asked in _overdue(context, subject):
            yield _to_backup(context, UNWATCHED, asked, job_care.say_unwatched(context, subject))


def _of_state(
    context: AlertContext, job: WatchedJob, state: JobAction, transitions: Sequence[Transition]
) -> Alert | None:
    begun = [n for n in transitions if n.change is not TransitionKind.CLEARED]
    if begun:
        rule = _gravest(begun).evaluation.rule
        return _alert(rule, job.subject, begun, _text(context, job, state), context.now)
    if not transitions:
        return None
    over = _gravest(transitions)
    if over.kind == STOP.kind and state.action is Action.CANNOT_SEE:
        # Said before the stop, which it stood behind: what is to be done has changed again.
        return _alert(CANNOT_SEE, job.subject, transitions, _text(context, job, state), context.now)
    if not _is_clear(job, state):
        return None
    if over.kind == GET_READY.kind and not job.paused:
        return None  # whoever did not stop for it need not hear that they may go on
    why = _why_clear(over, state)
    text = all_clear(context.speaker, place(job), why, context.timeline.of(job.state.job.field))
    return _alert(ALL_CLEAR, job.subject, transitions, text, context.now)


def _stands(state: JobAction) -> bool:
    """Whether a limit is broken, or unknown, at this moment."""
    return any(r.stand <= LimitState.UNKNOWN for r in state.causes)


def _is_clear(job: WatchedJob, state: JobAction) -> bool:
    if state.action in {Action.GO_ON, Action.GET_READY}:
        return True
    return state.action is Action.PAUSED and not state.causes and not _any_stands(job)


def _any_stands(job: WatchedJob) -> bool:
    """Whether any limit is broken, or unknown, at this moment, said or not."""
    return any(r.stand <= LimitState.UNKNOWN for r in job.state.limits)


def _text(context: AlertContext, job: WatchedJob, state: JobAction) -> Text:
    """Put what to do now into words."""
    where, timeline = place(job), context.timeline.of(job.state.job.field)
    if state.causes and state.action is Action.CANNOT_SEE:
        return cannot_see(context.speaker, where, state, timeline)
    if state.causes:
        where = replace(where, remedies=_remedies(context, job))
        return stop(context.speaker, where, state, timeline)
    found = (job_warnings.wording(context.speaker, job, kind, context.now) for kind in state.signs)
    return get_ready(where, [c for c in found if c is not None], timeline)


def _why_clear(over: Transition, state: JobAction) -> Message:
    if over.kind == CANNOT_SEE.kind:
        return SEES_AGAIN
    came = over.kind == STOP.kind or state.stops_lately > 0
    return inside_for(state.steady_s) if came else DID_NOT_COME


def _gravest(transitions: Sequence[Transition]) -> Transition:
    grave = list(_SAID)
    return max(transitions, key=lambda n: grave.index(n.kind))


@dataclass(frozen=True)
class _Asked:
    """A message that was to be acknowledged and was not; who hears next, and after how long."""

    message: tables.Outgoing
    backup: str
    after_s: float


def _overdue(context: AlertContext, subject: str, since: int = 0) -> Iterator[_Asked]:
    """The messages about a subject, from some time on, that nobody has acknowledged in time.

    Only where there is a backup.
    """
    recipients = context.speaker.farm.config.recipients
    seen_at = context.acknowledged.get(subject, 0)
    about = [
        m
        for m in context.unanswered
        if m.about == subject and m.kind in _ANSWERED and m.created_at >= since
    ]
    for message in about:
        recipient = recipients.get(message.recipient)
        backup = recipient.backup if recipient else None
        has_it = {m.recipient for m in about if m.short_id == message.short_id}
        if recipient is None or backup is None or backup not in recipients or backup in has_it:
            continue
        if seen_at < message.created_at <= context.now - recipient.backup_after:
            yield _Asked(message, backup, recipient.backup_after)


def _to_backup(context: AlertContext, rule: Rule, asked: _Asked, text: Text) -> Alert:
    message = asked.message
    return Alert(
        rule,
        message.about,
        f"{message.key}/to/{asked.backup}",
        not_acknowledged(text, message.recipient, asked.after_s),
        context.now,
        to=asked.backup,
        ref=message.short_id,
    )


def place(job: WatchedJob) -> JobPlace:
    """Return what the wording needs to know of a job."""
    state = job.state
    return JobPlace(
        field=state.job.field,
        setup=state.job.setup,
        left_s=max(state.left_s, 0.0),
        holds_again_at=state.holds_again_at,
        ahead_known=state.ahead_known,
        breaks_at=state.breaks_at,
    )


def _remedies(context: AlertContext, job: WatchedJob) -> Sequence[Remedy]:
    """What would help. Whatever goes wrong with it, the alert itself must go out."""
    state, plan = job.state, context.judgement.plan
    timeline = context.timeline.of(state.job.field)
    at = plan.fields.index(state.job.field), plan.setups.index(state.job.setup), timeline.now_index
    busy = [other.state.job.field for other in context.jobs]
    try:
        return remedies(Case(context.judgement, timeline, at, state.left_s, context.ranking, busy))
    except Exception:
        log.exception("no remedies could be worked out", job=state.job.id)
        return ()


def _alert(
    rule: Rule, subject: str, transitions: Sequence[Transition], text: Text, now: int
) -> Alert:
    what = "+".join(sorted(n.evaluation.key.kind for n in transitions))
    says = tuple(n.evaluation.key for n in transitions if n.change is not TransitionKind.CLEARED)
    return Alert(rule, subject, f"{subject}/{rule.kind}/{what}/{now}", text, now, says=says)
