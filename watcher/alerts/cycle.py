"""One cycle of the alerts: what is so now, what of it is news, and who hears it.

Runs inside the caller's write transaction, so that what is remembered and what is to be sent are
kept together or not at all.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import structlog
from sqlalchemy.orm import Session

from watcher.alerts import condition_states, watch_trouble
from watcher.alerts.alert import Alert
from watcher.alerts.conditions import ConditionKey, ConditionState, Evaluation, Transition, advance
from watcher.alerts.context import AlertContext, Begun
from watcher.alerts.enqueue import Enqueue
from watcher.alerts.gather import gather
from watcher.alerts.rules import daily, field, job, job_care, job_strips, recipient, source
from watcher.alerts.rules import plan as day_plan
from watcher.alerts.watch_runs import fault_alert
from watcher.judge.chances import FarmChances
from watcher.judge.job_action import JobAction
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import Ranking
from watcher.judge.timeline import Timeline
from watcher.planning.kept_plan import PlanNow
from watcher.source_view import SourceView
from watcher.store import outbox

log = structlog.get_logger("watcher.alerts")


class RuleGroup(Protocol):
    """Looks after some kinds of conditions: states how they stand, and words what is news."""

    @property
    def KINDS(self) -> frozenset[str]: ...  # noqa: N802  # a constant of a module

    def evaluate(
        self, context: AlertContext, states: Mapping[ConditionKey, ConditionState], /
    ) -> Iterable[Evaluation]: ...

    def tell(
        self,
        context: AlertContext,
        transitions: Sequence[Transition],
        lasting: Mapping[ConditionKey, ConditionState],
        /,
    ) -> Iterable[Alert]: ...


# Urgent things first: they are written first, so they are sent first.
RULE_GROUPS: tuple[RuleGroup, ...] = (job, job_strips, source, recipient, day_plan, field, daily)


@dataclass(frozen=True)
class Decision:
    """What a cycle decided: what to remember and what to tell."""

    lasting: dict[ConditionKey, ConditionState]
    alerts: Sequence[Alert]


@dataclass(frozen=True)
class Cycle:
    """What one cycle came to."""

    written: int
    """How many messages are new in the outbox."""
    actions: Mapping[int, JobAction]
    """What to do with each open job, by its number."""


Lost = Mapping[ConditionKey, frozenset[str]]
"""The recipients who will not get what was written to them of a condition."""


def decide(
    context: AlertContext, states: Mapping[ConditionKey, ConditionState], lost: Lost | None = None
) -> Decision:
    """Work out what is news in what is seen, given what is remembered. Changes nothing itself.

    A rule group with a fault keeps what it remembers and must not silence the others.
    """
    lasting: dict[ConditionKey, ConditionState] = {}
    alerts: list[Alert] = []
    for group in RULE_GROUPS:
        own = {key: state for key, state in states.items() if key.of_kind in group.KINDS}
        try:
            after, transitions = advance(group.evaluate(context, states), own, context.now, lost)
            after |= {key: state for key, state in own.items() if _left_alone(key, context)}
            # All of it or nothing, as it is remembered.
            worded = _worded(group, context, transitions, after)
        except Exception as error:
            log.exception("a part of the alerts has a fault", kinds=sorted(group.KINDS))
            after = own
            worded = [fault_alert(group is job, group.KINDS, error, context.now)]
        lasting |= after
        alerts += worded
    return Decision(lasting, alerts)


def _worded(
    group: RuleGroup,
    context: AlertContext,
    transitions: Sequence[Transition],
    lasting: Mapping[ConditionKey, ConditionState],
) -> list[Alert]:
    """Word what is news to everyone, and to each who will not get a message what it said."""
    alerts = list(group.tell(context, [n for n in transitions if n.to is None], lasting))
    for name in sorted({name for n in transitions for name in n.to or ()}):
        untold = [n for n in transitions if n.to is not None and name in n.to]
        said_anew = group.tell(context, untold, lasting)
        alerts += [replace(n, to=name) for n in said_anew if n.says and n.to is None]
    return alerts


def _left_alone(key: ConditionKey, context: AlertContext) -> bool:
    return key.subject in context.unseen and key.of_kind != job_care.UNWATCHED.kind


def run(
    session: Session,
    post: Enqueue,
    judgement: Judgement,
    timeline: Timeline,
    ranking: Ranking,
    *,
    begun: Begun | None = None,
    plan: PlanNow | None = None,
    chances: FarmChances | None = None,
    sources: Sequence[SourceView] | None = None,
) -> Cycle:
    """Run one cycle of a judgement. ``begun``: when the watch began, if that matters.

    ``plan`` is the plan of the day, of which the ranking is the first step; ``chances`` are how
    likely jobs hold, as last worked out; ``sources`` how each is, where that was looked at already.
    """
    context = gather(
        session,
        post.speaker,
        judgement,
        timeline,
        ranking,
        begun=begun,
        plan=plan,
        chances=chances,
        sources=sources,
    )
    before = {
        k: s
        for k, s in condition_states.load(session).items()
        if k.of_kind not in watch_trouble.KINDS
    }
    decision = decide(context, before, _lost(session, post, before, context.now))
    for alert in decision.alerts:
        _note_messages(session, decision.lasting, alert, post.messages(alert))
    condition_states.save(session, before, decision.lasting, context.now)
    for alert in decision.alerts:
        log.info("to tell", kind=alert.rule.kind, about=alert.subject, title=str(alert.text.title))
    written = sum(post(session, alert, context.now) for alert in decision.alerts)
    return Cycle(written, job.actions(context, decision.lasting))


def _lost(
    session: Session, post: Enqueue, states: Mapping[ConditionKey, ConditionState], now: int
) -> Lost:
    """Who will not get what was written to them of what is remembered as said."""
    known = post.people.known()
    every = [key for state in states.values() for key in state.messages.values()]
    gone = outbox.lost(session, every, now)
    lost = {
        key: frozenset(n for n, message in state.messages.items() if message in gone and n in known)
        for key, state in states.items()
    }
    return {key: names for key, names in lost.items() if names}


def _note_messages(
    session: Session,
    lasting: dict[ConditionKey, ConditionState],
    alert: Alert,
    messages: Mapping[str, str],
) -> None:
    """Remember which messages tell of a condition; older ones that still wait are not sent.

    So a recipient who cannot be reached finds one message of a condition later, the newest.
    """
    for key in alert.says:
        state = lasting[key]
        older = {state.messages[name] for name in messages if name in state.messages}
        outbox.supersede(session, older - set(messages.values()))
        lasting[key] = replace(state, messages={**state.messages, **messages})
