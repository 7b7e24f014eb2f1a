"""Fields that open and fields about to close, as conditions; announced together when several do."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

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
from watcher.judge.ranking import FieldNow
from watcher.limits.status import Status
from watcher.messages.fields import closing, opening

_STEADY_S = 300
_GONE_S = 1800
CLOSING_WITHIN_S = 3600

OPEN = Rule(
    "field open", Topic.BRIEF, Urgency.SOON, 3600, raise_after_s=_STEADY_S, clear_after_s=_GONE_S
)
CLOSING = Rule("field closing", Topic.BRIEF, Urgency.SOON, 1800, clear_after_s=_GONE_S)
KINDS = frozenset({OPEN.kind, CLOSING.kind})


def evaluate(
    context: AlertContext, states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State for every field whether it is open and whether it closes within the hour.

    Fields being sprayed are left to what is said of their jobs, and of fields that are done nothing
    is said.
    """
    sprayed = {job.state.job.field for job in context.jobs}
    for field in (*context.ranking.spray, *context.ranking.rest):
        if field.field not in sprayed:
            open_now = Evaluation(OPEN, f"field:{field.field}", _open(field))
            yield open_now
            said_open = (
                state := states.get(open_now.key)
            ) is not None and state.said_at is not None
            yield Evaluation(CLOSING, open_now.subject, _closing(field, context.now, said_open))


def _open(field: FieldNow) -> bool | None:
    return None if field.status is Status.UNKNOWN else field.status >= Status.MARGINAL


def _closing(field: FieldNow, now: int, said_open: bool) -> bool | None:
    if field.status is Status.UNKNOWN:
        return None
    if field.status < Status.MARGINAL or field.closes_at is None:
        return False
    return said_open and field.closes_at - now <= CLOSING_WITHIN_S


def tell(
    context: AlertContext,
    transitions: Sequence[Transition],
    _lasting: Mapping[ConditionKey, ConditionState],
) -> Iterable[Alert]:
    """Put all fields that open into one alert, and all that are about to close into another.

    Who has accepted a plan hears when its steps are due, and not as each field opens.
    """
    planned = (
        context.plan is not None and context.plan.accepted is not None and not context.plan.old
    )
    for rule, wording in ((OPEN, opening), (CLOSING, closing)):
        if rule is OPEN and planned:
            continue
        about = [
            n for n in transitions if n.kind == rule.kind and n.change is not TransitionKind.CLEARED
        ]
        names = {n.evaluation.subject.removeprefix("field:") for n in about}
        fields = [f for f in context.ranking.spray if f.field in names]
        if fields:
            key = f"{rule.kind}/{'+'.join(sorted(names))}/{context.now}"
            text = wording(context.speaker, fields, context.judgement, context.timeline)
            subjects = {f"field:{f.field}" for f in fields}
            says = tuple(n.evaluation.key for n in about if n.evaluation.subject in subjects)
            yield Alert(rule, "fields", key, text, context.now, says=says)
