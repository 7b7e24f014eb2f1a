"""The daily messages as conditions: each is so once a local day, from its wall time on."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

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
from watcher.messages.brief import morning_brief
from watcher.messages.evening import evening_look_ahead
from watcher.messages.text import Text
from watcher.messages.wall_clock import due

_WORTH_TELLING_S = 3 * 3600
MORNING = Rule("morning brief", Topic.BRIEF, Urgency.SOON, _WORTH_TELLING_S)
EVENING = Rule("evening look-ahead", Topic.BRIEF, Urgency.SOON, _WORTH_TELLING_S)
KINDS = frozenset({MORNING.kind, EVENING.kind})
SUBJECT = "farm"


def standings(view: AlertContext, _states: Mapping[ConditionKey, State]) -> Iterator[Evaluation]:
    """State which daily message is due; also after a downtime, while it is worth having.

    After a start it waits for the first answers of the sources, for a while.
    """
    farm = view.speaker.farm
    for rule, wall in ((MORNING, farm.config.brief.morning), (EVENING, farm.config.brief.evening)):
        if wall is None:
            continue
        at = due(now=view.now, wall=wall, zone=farm.zone, within_s=_WORTH_TELLING_S)
        if at is not None:
            day = datetime.fromtimestamp(at, farm.zone).date().isoformat()
            holds = None if _waits(view) else True
            yield Evaluation(rule, SUBJECT, holds, day, evidence={"due_at": at})


def _waits(view: AlertContext) -> bool:
    return view.begun is not None and view.begun.just(view.now) and bool(view.silent)


def tell(
    view: AlertContext, news: Sequence[Transition], _lasting: Mapping[ConditionKey, State]
) -> Iterable[Alert]:
    """Put what is due into words."""
    for item in news:
        if item.change is News.CLEARED:
            continue
        key = f"{SUBJECT}/{item.standing.key.kind}"
        if item.change is News.UNTOLD:
            key += f"/{view.now}"
        yield Alert(
            item.standing.rule,
            SUBJECT,
            key,
            _text(view, item.standing),
            view.now,
            says=(item.standing.key,),
        )


def _text(view: AlertContext, standing: Evaluation) -> Text:
    if standing.rule.kind == EVENING.kind:
        return evening_look_ahead(
            view.speaker,
            view.judgement,
            view.timeline,
            plan=view.plan,
            chances=view.chances,
        )
    due_at = int(standing.evidence["due_at"])
    if view.begun is not None and view.begun.first and due_at < view.begun.at:
        due_at = view.now  # nobody waited for it
    return morning_brief(
        view.speaker,
        view.judgement,
        view.ranking,
        view.timeline,
        due_at=due_at,
        silent=view.silent,
        plan=view.plan,
        chances=view.chances,
    )
