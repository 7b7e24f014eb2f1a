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
from watcher.alerts.conditions import ConditionKey, Evaluation, State, Transition, advance
from watcher.alerts.context import AlertContext, Begun
from watcher.alerts.enqueue import Enqueue
from watcher.alerts.gather import gather
from watcher.alerts.rules import daily, field, job, job_care, job_strips, recipient, source
from watcher.alerts.rules import plan as day_plan
from watcher.alerts.watch_runs import fault_notice
from watcher.judge.chances import FarmChances
from watcher.judge.job_action import JobAction
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import Ranking
from watcher.judge.timeline import Timeline
from watcher.planning.kept import PlanNow
from watcher.source_view import SourceView
from watcher.store import outbox

log = structlog.get_logger("watcher.alerts")


class RuleGroup(Protocol):
    """Looks after some kinds of conditions: states how they stand, and words what is news."""

    @property
    def KINDS(self) -> frozenset[str]: ...  # noqa: N802  # a constant of a module

    def standings(
        self, view: AlertContext, states: Mapping[ConditionKey, State], /
    ) -> Iterable[Evaluation]: ...

    def tell(
        self,
        view: AlertContext,
        news: Sequence[Transition],
        lasting: Mapping[ConditionKey, State],
        /,
    ) -> Iterable[Alert]: ...


# Urgent things first: they are written first, so they are sent first.
DESKS: tuple[RuleGroup, ...] = (job, job_strips, source, recipient, day_plan, field, daily)


@dataclass(frozen=True)
class Decision:
    """What a cycle decided: what to remember and what to tell."""

    lasting: dict[ConditionKey, State]
    notices: Sequence[Alert]


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
    view: AlertContext, states: Mapping[ConditionKey, State], lost: Lost | None = None
) -> Decision:
    """Work out what is news in a view, given what is remembered. Changes nothing itself.

    A desk with a fault keeps what it remembers and must not silence the others.
    """
    lasting: dict[ConditionKey, State] = {}
    notices: list[Alert] = []
    for desk in DESKS:
        own = {key: state for key, state in states.items() if key.of_kind in desk.KINDS}
        try:
            after, news = advance(desk.standings(view, states), own, view.now, lost)
            after |= {key: state for key, state in own.items() if _left_alone(key, view)}
            alerts = _worded(desk, view, news, after)  # all of it or nothing, as it is remembered
        except Exception as error:
            log.exception("a part of the alerts has a fault", kinds=sorted(desk.KINDS))
            after = own
            alerts = [fault_notice(desk is job, desk.KINDS, error, view.now)]
        lasting |= after
        notices += alerts
    return Decision(lasting, notices)


def _worded(
    desk: RuleGroup,
    view: AlertContext,
    news: Sequence[Transition],
    lasting: Mapping[ConditionKey, State],
) -> list[Alert]:
    """Word what is news to everyone, and to each who will not get a message what it said."""
    notices = list(desk.tell(view, [n for n in news if n.to is None], lasting))
    for name in sorted({name for n in news for name in n.to or ()}):
        untold = [n for n in news if n.to is not None and name in n.to]
        said_anew = desk.tell(view, untold, lasting)
        notices += [replace(n, to=name) for n in said_anew if n.says and n.to is None]
    return notices


def _left_alone(key: ConditionKey, view: AlertContext) -> bool:
    return key.subject in view.unseen and key.of_kind != job_care.UNWATCHED.kind


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
    view = gather(
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
    decision = decide(view, before, _lost(session, post, before, view.now))
    for notice in decision.notices:
        _note_messages(session, decision.lasting, notice, post.messages(notice))
    condition_states.save(session, before, decision.lasting, view.now)
    for notice in decision.notices:
        log.info(
            "to tell", kind=notice.rule.kind, about=notice.subject, title=str(notice.text.title)
        )
    written = sum(post(session, notice, view.now) for notice in decision.notices)
    return Cycle(written, job.actions(view, decision.lasting))


def _lost(session: Session, post: Enqueue, states: Mapping[ConditionKey, State], now: int) -> Lost:
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
    session: Session, lasting: dict[ConditionKey, State], notice: Alert, messages: Mapping[str, str]
) -> None:
    """Remember which messages tell of a condition; older ones that still wait are not sent.

    So a recipient who cannot be reached finds one message of a condition later, the newest.
    """
    for key in notice.says:
        state = lasting[key]
        older = {state.messages[name] for name in messages if name in state.messages}
        outbox.supersede(session, older - set(messages.values()))
        lasting[key] = replace(state, messages={**state.messages, **messages})
