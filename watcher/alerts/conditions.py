"""What is worth saying: one small model of things that begin, last, come again and end.

A rule says how one kind of thing is said. Every cycle states for each subject whether the thing is
so (``Evaluation``); ``step`` turns that and what is remembered into the next state and, when there
is news, a change with its name.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Any, Self

from watcher.farm.models import Topic


class Urgency(Enum):
    """How much a message may be held back."""

    SOON = "soon"
    """Waits for the end of quiet hours, is sent together with others, and not too many an hour."""
    NOW = "now"
    """Someone is spraying: neither quiet hours nor a storm of other messages hold it back."""


@dataclass(frozen=True)
class Rule:
    """How one kind of thing is announced. Durations in seconds.

    It is raised once it has been so for ``raise_after_s`` on end, said again every
    ``repeat_after_s`` while it lasts, and cleared once it has not been so for ``clear_after_s`` on
    end. A message of it is worth delivering for ``expires_after_s``.
    """

    kind: str
    topic: Topic
    urgency: Urgency
    expires_after_s: int
    raise_after_s: int = 0
    clear_after_s: int = 0
    repeat_after_s: int | None = None
    escalates: bool = False
    """Asks to be acknowledged, and is sent to the recipient's backup when it is not."""
    overtakes: bool = False
    """Better news: what has not yet arrived about the subject is not sent any more."""


@dataclass(frozen=True)
class Evaluation:
    """Whether something is so for a subject now. ``holds`` is None when that cannot be known."""

    rule: Rule
    subject: str
    holds: bool | None
    about: str = ""
    """Which of several things of this kind: the limit, the day."""
    evidence: Mapping[str, Any] = field(default_factory=dict)
    unsaid_before: int = 0
    """What was said before this moment counts as not said: the grower has acted since."""
    seen_at: int = 0
    """When somebody last acknowledged what was said about the subject: no need to repeat it."""
    renewed: bool = False
    """What was said of it has changed so much that it is said again."""

    def but(self, holds: bool | None) -> Self:
        """Return the same with another finding."""
        return replace(self, holds=holds)

    @property
    def key(self) -> "ConditionKey":
        return ConditionKey(
            self.subject, f"{self.rule.kind}: {self.about}" if self.about else self.rule.kind
        )


@dataclass(frozen=True, order=True)
class ConditionKey:
    """What tells one condition from another."""

    subject: str
    kind: str

    @property
    def of_kind(self) -> str:
        """The kind of the rule, without what the condition is about."""
        return self.kind.partition(": ")[0]


@dataclass(frozen=True)
class ConditionState:
    """What is remembered of a condition that is so, or was a moment ago. Epoch seconds."""

    since: int
    """Since when it has been so."""
    said_at: int | None = None
    """When it was last said; None while it has not been so for long enough."""
    not_so_since: int | None = None
    """Since when it has no longer been so, while that is not yet long enough."""
    evidence: Mapping[str, Any] = field(default_factory=dict)
    messages: Mapping[str, str] = field(default_factory=dict)
    """The key of the message that last tells it to each recipient."""


class TransitionKind(Enum):
    """News about a condition."""

    RAISED = "raised"
    REPEATED = "repeated"
    UNTOLD = "untold"
    """It lasts, and a recipient it was written to will not get that message any more."""
    CLEARED = "cleared"


def step(
    evaluation: Evaluation, state: ConditionState | None, now: int
) -> tuple[ConditionState | None, TransitionKind | None]:
    """Return the condition's next state, None when it is over, and the change worth telling.

    Not knowing changes nothing: silence is no recovery. Of a clock set back, no remembered time
    lies ahead of now.
    """
    rule = evaluation.rule
    state = _not_ahead(state, now)
    if evaluation.holds is None:
        return (replace(state, not_so_since=None) if state else None), None
    if state is None or state.said_at is None:
        return _before_said(evaluation, state, now)
    if evaluation.holds:
        return _while_said(evaluation, replace(state, not_so_since=None), state.said_at, now)
    not_so_since = now if state.not_so_since is None else state.not_so_since
    if now - not_so_since >= rule.clear_after_s:
        return None, TransitionKind.CLEARED
    return replace(state, not_so_since=not_so_since), None


def _before_said(
    evaluation: Evaluation, state: ConditionState | None, now: int
) -> tuple[ConditionState | None, TransitionKind | None]:
    if not evaluation.holds:
        return None, None
    since = now if state is None else state.since
    if now - since < evaluation.rule.raise_after_s:
        return ConditionState(since, evidence=evaluation.evidence), None
    return ConditionState(since, said_at=now, evidence=evaluation.evidence), TransitionKind.RAISED


def _while_said(
    evaluation: Evaluation, state: ConditionState, said_at: int, now: int
) -> tuple[ConditionState, TransitionKind | None]:
    every = evaluation.rule.repeat_after_s
    unseen = said_at > evaluation.seen_at
    # An act that lies ahead of now is from before the clock was set back: it is not new.
    again = (
        evaluation.renewed
        or said_at < evaluation.unsaid_before <= now
        or (every is not None and unseen and now - said_at >= every)
    )
    state = replace(state, evidence=evaluation.evidence, said_at=now if again else said_at)
    return state, TransitionKind.REPEATED if again else None


def _not_ahead(state: ConditionState | None, now: int) -> ConditionState | None:
    if state is None:
        return None
    return replace(
        state,
        since=min(state.since, now),
        said_at=None if state.said_at is None else min(state.said_at, now),
        not_so_since=None if state.not_so_since is None else min(state.not_so_since, now),
    )


@dataclass(frozen=True)
class Transition:
    """A change of one condition. ``state`` is as it was said, for a cleared one as it was."""

    evaluation: Evaluation
    change: TransitionKind
    state: ConditionState
    to: frozenset[str] | None = None
    """The recipients it is news to; None: everyone who hears of it."""

    @property
    def kind(self) -> str:
        return self.evaluation.rule.kind


def advance(
    evaluations: Iterable[Evaluation],
    states: Mapping[ConditionKey, ConditionState],
    now: int,
    lost: Mapping[ConditionKey, frozenset[str]] | None = None,
) -> tuple[dict[ConditionKey, ConditionState], list[Transition]]:
    """Step every condition; returns the states that last and what is new.

    A condition nothing is stated about any more is over without a word: its subject is gone.
    ``lost`` are the recipients to whom a message of a condition was given up: said means
    delivered, so that what is still so is news to them.
    """
    lost = lost or {}
    lasting: dict[ConditionKey, ConditionState] = {}
    transitions = []
    for evaluation in evaluations:
        before = states.get(evaluation.key)
        after, change = step(evaluation, before, now)
        if after is not None:
            lasting[evaluation.key] = after
        state = after or before
        if change is not None and state is not None:
            transitions.append(Transition(evaluation, change, state))
        elif after is not None and evaluation.holds and evaluation.key in lost:
            transitions.append(
                Transition(evaluation, TransitionKind.UNTOLD, after, lost[evaluation.key])
            )
    return lasting, transitions
