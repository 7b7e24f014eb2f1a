"""The plan that was accepted, as conditions: a step of it is due soon, or it has changed.

Nothing is said of a plan to which nobody said yes, nor of one that is old or being made anew.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from watcher.alerts.alert import Alert
from watcher.alerts.conditions import (
    ConditionKey,
    Evaluation,
    News,
    Rule,
    State,
    Transition,
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


def standings(view: AlertContext, _states: Mapping[ConditionKey, State]) -> Iterator[Evaluation]:
    """State which accepted steps are due within twenty minutes, and what the plan turned to."""
    plan = view.plan
    if plan is None or plan.accepted is None:
        return
    stands = plan.changed is None
    asked = {step.field: step for step in plan.accepted.plan.plan.steps}
    moved_up = {new.field for _, new in plan.turned if new is not None}
    for step in plan.steps:
        if step.field in asked:
            # Who said yes a moment before knows it.
            announced = asked[step.field].starts_at - plan.accepted.at <= _SOON_S
            soon = not announced and step.starts_at - view.now <= _SOON_S
            # Of a step that was moved up the change of the plan tells.
            known = stands and step.field not in moved_up
            yield Evaluation(_of_now(NEXT, view), SUBJECT, soon if known else None, step.field)
    if plan.turned:
        steps = (new or old for old, new in plan.turned)
        about = ", ".join(sorted(f"{s.sprayer} {s.field}" for s in steps if s is not None))
        yield Evaluation(_of_now(CHANGED, view), SUBJECT, True if stands else None, about)


def _of_now(rule: Rule, view: AlertContext) -> Rule:
    """While somebody sprays, quiet hours do not hold back what comes next."""
    return replace(rule, urgency=Urgency.NOW) if view.jobs else rule


def tell(
    view: AlertContext, news: Sequence[Transition], _lasting: Mapping[ConditionKey, State]
) -> Iterable[Alert]:
    """Put what is new into words."""
    plan = view.plan
    if plan is None:
        return
    for item in news:
        if item.change is News.CLEARED:
            continue
        standing = item.standing
        if standing.rule.kind == CHANGED.kind:
            text = plan_changed(view.speaker, plan, view.ranking)
        else:
            step = next(step for step in plan.steps if step.field == standing.about)
            text = next_step(view.speaker, plan, step)
        key = f"{SUBJECT}/{standing.key.kind}/{view.now}"
        yield Alert(standing.rule, SUBJECT, key, text, view.now, says=(standing.key,))
