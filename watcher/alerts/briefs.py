"""The daily messages as conditions: each is so once a local day, from its wall time on."""

from collections.abc import Iterator
from datetime import datetime

from watcher.alerts.conditions import Rule, Standing, Urgency
from watcher.alerts.daily import due
from watcher.alerts.notices import Notice
from watcher.alerts.wording.brief import morning_brief
from watcher.alerts.wording.reasons import Speaker
from watcher.farm import Farm
from watcher.judge.outlook import Outlook
from watcher.judge.ranking import Ranking

_WORTH_TELLING_S = 3 * 3600
MORNING = Rule("morning brief", "brief", Urgency.SOON, _WORTH_TELLING_S)
SUBJECT = "farm"


def standings(farm: Farm, now: int) -> Iterator[Standing]:
    """State whether the day's brief is due; also after a downtime, while it is worth having."""
    instant = due(now=now, wall=farm.told.brief.morning, zone=farm.zone, within_s=_WORTH_TELLING_S)
    if instant is not None:
        day = datetime.fromtimestamp(instant, farm.zone).date().isoformat()
        yield Standing(MORNING, SUBJECT, True, day, evidence={"due_at": instant})


def tell(speaker: Speaker, standing: Standing, ranking: Ranking, outlook: Outlook) -> Notice:
    """Put the brief into words."""
    text = morning_brief(speaker, ranking, outlook, due_at=int(standing.evidence["due_at"]))
    key = f"{SUBJECT}/{standing.key.kind}"
    return Notice(standing.rule, SUBJECT, key, text, outlook.now)
