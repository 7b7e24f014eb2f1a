"""Fields that open and fields about to close, as conditions; announced together when several do."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

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


def standings(view: AlertContext, states: Mapping[ConditionKey, State]) -> Iterator[Evaluation]:
    """State for every field whether it is open and whether it closes within the hour.

    Fields being sprayed are left to what is said of their jobs, and of fields that are done nothing
    is said.
    """
    sprayed = {job.sight.job.field for job in view.jobs}
    for field in (*view.ranking.spray, *view.ranking.rest):
        if field.field not in sprayed:
            open_now = Evaluation(OPEN, f"field:{field.field}", _open(field))
            yield open_now
            said_open = (
                state := states.get(open_now.key)
            ) is not None and state.said_at is not None
            yield Evaluation(CLOSING, open_now.subject, _closing(field, view.now, said_open))


def _open(field: FieldNow) -> bool | None:
    return None if field.status is Status.UNKNOWN else field.status >= Status.MARGINAL


def _closing(field: FieldNow, now: int, said_open: bool) -> bool | None:
    if field.status is Status.UNKNOWN:
        return None
    if field.status < Status.MARGINAL or field.closes_at is None:
        return False
    return said_open and field.closes_at - now <= CLOSING_WITHIN_S


def tell(
    view: AlertContext, news: Sequence[Transition], _lasting: Mapping[ConditionKey, State]
) -> Iterable[Alert]:
    """Put all fields that open into one notice, and all that are about to close into another.

    Who has accepted a plan hears when its steps are due, and not as each field opens.
    """
    planned = view.plan is not None and view.plan.accepted is not None and not view.plan.old
    for rule, wording in ((OPEN, opening), (CLOSING, closing)):
        if rule is OPEN and planned:
            continue
        about = [n for n in news if n.kind == rule.kind and n.change is not News.CLEARED]
        names = {n.standing.subject.removeprefix("field:") for n in about}
        fields = [f for f in view.ranking.spray if f.field in names]
        if fields:
            key = f"{rule.kind}/{'+'.join(sorted(names))}/{view.now}"
            text = wording(view.speaker, fields, view.judgement, view.timeline)
            subjects = {f"field:{f.field}" for f in fields}
            says = tuple(n.standing.key for n in about if n.standing.subject in subjects)
            yield Alert(rule, "fields", key, text, view.now, says=says)
