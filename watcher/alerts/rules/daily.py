"""The daily messages as conditions: each is so once a local day, from its wall time on."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

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
from watcher.messages.brief import morning_brief
from watcher.messages.evening import evening_look_ahead
from watcher.messages.text import Text
from watcher.messages.wall_clock import due

_WORTH_TELLING_S = 3 * 3600
MORNING = Rule("morning brief", Topic.BRIEF, Urgency.SOON, _WORTH_TELLING_S)
EVENING = Rule("evening look-ahead", Topic.BRIEF, Urgency.SOON, _WORTH_TELLING_S)
KINDS = frozenset({MORNING.kind, EVENING.kind})
SUBJECT = "farm"


def evaluate(
    context: AlertContext, _states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State which daily message is due; also after a downtime, while it is worth having.

    After a start it waits for the first answers of the sources, for a while.
    """
    farm = context.speaker.farm
    for rule, wall in ((MORNING, farm.config.brief.morning), (EVENING, farm.config.brief.evening)):
        if wall is None:
            continue
        at = due(now=context.now, wall=wall, zone=farm.zone, within_s=_WORTH_TELLING_S)
        if at is not None:
            day = datetime.fromtimestamp(at, farm.zone).date().isoformat()
            holds = None if _waits(context) else True
            yield Evaluation(rule, SUBJECT, holds, day, evidence={"due_at": at})


def _waits(context: AlertContext) -> bool:
    return context.begun is not None and context.begun.just(context.now) and bool(context.silent)


def tell(
    context: AlertContext,
    transitions: Sequence[Transition],
    _lasting: Mapping[ConditionKey, ConditionState],
) -> Iterable[Alert]:
    """Put what is due into words."""
    for item in transitions:
        if item.change is TransitionKind.CLEARED:
            continue
        key = f"{SUBJECT}/{item.evaluation.key.kind}"
        if item.change is TransitionKind.UNTOLD:
            key += f"/{context.now}"
        yield Alert(
            item.evaluation.rule,
            SUBJECT,
            key,
            _text(context, item.evaluation),
            context.now,
            says=(item.evaluation.key,),
        )


def _text(context: AlertContext, evaluation: Evaluation) -> Text:
    if evaluation.rule.kind == EVENING.kind:
        return evening_look_ahead(
            context.speaker,
            context.judgement,
            context.timeline,
            plan=context.plan,
            chances=context.chances,
        )
    due_at = int(evaluation.evidence["due_at"])
    if context.begun is not None and context.begun.first and due_at < context.begun.at:
        due_at = context.now  # nobody waited for it
    return morning_brief(
        context.speaker,
        context.judgement,
        context.ranking,
        context.timeline,
        due_at=due_at,
        silent=context.silent,
        plan=context.plan,
        chances=context.chances,
    )
