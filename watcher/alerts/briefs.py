"""The daily messages as conditions: each is so once a local day, from its wall time on."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from watcher.alerts.conditions import Change, Key, News, Rule, Standing, State, Urgency
from watcher.alerts.daily import due
from watcher.alerts.notices import Notice
from watcher.alerts.view import View
from watcher.alerts.wording.brief import morning_brief
from watcher.alerts.wording.evening import evening_look_ahead
from watcher.alerts.wording.words import Text
from watcher.farm.models import Topic

_WORTH_TELLING_S = 3 * 3600
MORNING = Rule("morning brief", Topic.BRIEF, Urgency.SOON, _WORTH_TELLING_S)
EVENING = Rule("evening look-ahead", Topic.BRIEF, Urgency.SOON, _WORTH_TELLING_S)
KINDS = frozenset({MORNING.kind, EVENING.kind})
SUBJECT = "farm"


def standings(view: View, _states: Mapping[Key, State]) -> Iterator[Standing]:
    """State which daily message is due; also after a downtime, while it is worth having."""
    farm = view.speaker.farm
    for rule, wall in ((MORNING, farm.told.brief.morning), (EVENING, farm.told.brief.evening)):
        if wall is None:
            continue
        at = due(now=view.now, wall=wall, zone=farm.zone, within_s=_WORTH_TELLING_S)
        if at is not None:
            day = datetime.fromtimestamp(at, farm.zone).date().isoformat()
            yield Standing(rule, SUBJECT, True, day, evidence={"due_at": at})


def tell(view: View, news: Sequence[News], _lasting: Mapping[Key, State]) -> Iterable[Notice]:
    """Put what is due into words."""
    for item in news:
        if item.change is Change.RAISED:
            key = f"{SUBJECT}/{item.standing.key.kind}"
            yield Notice(item.standing.rule, SUBJECT, key, _text(view, item.standing), view.now)


def _text(view: View, standing: Standing) -> Text:
    if standing.rule.kind == EVENING.kind:
        return evening_look_ahead(view.speaker, view.judgement, view.outlook)
    due_at = int(standing.evidence["due_at"])
    return morning_brief(view.speaker, view.ranking, view.outlook, due_at=due_at)
