"""The plan that was accepted, as conditions: a step of it is due soon, or it has changed.

Nothing is said of a plan to which nobody said yes, nor of one that is old or being made anew.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from watcher.alerts.alert import Alert
from watcher.alerts.conditions import (
    ConditionKey,
    ConditionState,
    Evaluation,
    Rule,
    Transition,
    TransitionKind,
    Urgency,
)
from watcher.alerts.context import AlertContext
from watcher.farm.models import Topic
from watcher.messages.day_plan import next_step, plan_changed

_SOON_S = 20 * 60
_WORTH_TELLING_S = _SOON_S + 15 * 60
_STEADY_S = 120
_GONE_S = 3600
NEXT = Rule("next step due", Topic.JOB, Urgency.SOON, _WORTH_TELLING_S, clear_after_s=_GONE_S)
CHANGED = Rule(
    "plan changed", Topic.JOB, Urgency.SOON, 2 * 3600, raise_after_s=_STEADY_S, clear_after_s=600
)
KINDS = frozenset({NEXT.kind, CHANGED.kind})
SUBJECT = "plan"


def evaluate(
    context: AlertContext, _states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State which accepted steps are due within twenty minutes, and what the plan turned to."""
    plan = context.plan
    if plan is None or plan.accepted is None:
        return
    stands = plan.changed is None
    asked = {step.field: step for step in plan.accepted.plan.plan.steps}
    moved_up = {new.field for _, new in plan.turned if new is not None}
    for step in plan.steps:
        if step.field in asked:
            # Who said yes a moment before knows it.
            announced = asked[step.field].starts_at - plan.accepted.at <= _SOON_S
            soon = not announced and step.starts_at - context.now <= _SOON_S
            # Of a step that was moved up the change of the plan tells.
            known = stands and step.field not in moved_up
            yield Evaluation(_of_now(NEXT, context), SUBJECT, soon if known else None, step.field)
    if plan.turned:
        steps = (new or old for old, new in plan.turned)
        about = ", ".join(sorted(f"{s.sprayer} {s.field}" for s in steps if s is not None))
        yield Evaluation(_of_now(CHANGED, context), SUBJECT, True if stands else None, about)


def _of_now(rule: Rule, context: AlertContext) -> Rule:
    """While somebody sprays, quiet hours do not hold back what comes next."""
    return replace(rule, urgency=Urgency.NOW) if context.jobs else rule


def tell(
    context: AlertContext,
    transitions: Sequence[Transition],
    _lasting: Mapping[ConditionKey, ConditionState],
) -> Iterable[Alert]:
    """Put what is new into words."""
    plan = context.plan
    if plan is None:
        return
    for item in transitions:
        if item.change is TransitionKind.CLEARED:
            continue
        evaluation = item.evaluation
        if evaluation.rule.kind == CHANGED.kind:
            text = plan_changed(context.speaker, plan, context.ranking)
        else:
            step = next(step for step in plan.steps if step.field == evaluation.about)
            text = next_step(context.speaker, plan, step)
        key = f"{SUBJECT}/{evaluation.key.kind}/{context.now}"
        yield Alert(evaluation.rule, SUBJECT, key, text, context.now, says=(evaluation.key,))
