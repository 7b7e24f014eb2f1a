"""Fields that open and fields about to close, as conditions; told together when several do."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from watcher.alerts.conditions import Change, Key, News, Rule, Standing, State, Urgency
from watcher.alerts.notices import Notice
from watcher.alerts.view import View
from watcher.alerts.wording.fields import closing, opening
from watcher.farm.models import Topic
from watcher.judge.ranking import FieldNow
from watcher.judge.status import Status

_STEADY_S = 300
_GONE_S = 1800
CLOSING_WITHIN_S = 3600

OPEN = Rule(
    "field open", Topic.BRIEF, Urgency.SOON, 3600, raise_after_s=_STEADY_S, clear_after_s=_GONE_S
)
CLOSING = Rule("field closing", Topic.BRIEF, Urgency.SOON, 1800, clear_after_s=_GONE_S)
KINDS = frozenset({OPEN.kind, CLOSING.kind})


def standings(view: View, states: Mapping[Key, State]) -> Iterator[Standing]:
    """State for every field whether it is open and whether it closes within the hour.

    Fields being sprayed are left to what is said of their jobs, and of fields that are done nothing
    is said.
    """
    sprayed = {job.sight.job.field for job in view.jobs}
    for field in (*view.ranking.spray, *view.ranking.rest):
        if field.field not in sprayed:
            open_now = Standing(OPEN, f"field:{field.field}", _open(field))
            yield open_now
            told = (state := states.get(open_now.key)) is not None and state.said_at is not None
            yield Standing(CLOSING, open_now.subject, _closing(field, view.now, told))


def _open(field: FieldNow) -> bool | None:
    return None if field.status is Status.UNKNOWN else field.status >= Status.MARGINAL


def _closing(field: FieldNow, now: int, told_open: bool) -> bool | None:
    if field.status is Status.UNKNOWN:
        return None
    if field.status < Status.MARGINAL or field.closes_at is None:
        return False
    return told_open and field.closes_at - now <= CLOSING_WITHIN_S


def tell(view: View, news: Sequence[News], _lasting: Mapping[Key, State]) -> Iterable[Notice]:
    """Put all fields that open into one notice, and all that are about to close into another."""
    for rule, wording in ((OPEN, opening), (CLOSING, closing)):
        names = {
            n.standing.subject.removeprefix("field:")
            for n in news
            if n.kind == rule.kind and n.change is Change.RAISED
        }
        fields = [f for f in view.ranking.spray if f.field in names]
        if fields:
            key = f"{rule.kind}/{'+'.join(sorted(names))}/{view.now}"
            text = wording(view.speaker, fields, view.judgement, view.outlook)
            yield Notice(rule, "fields", key, text, view.now)
