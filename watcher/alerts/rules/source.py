"""Sources that fall silent, stand still, say what cannot be, fail often or contradict the feed."""

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
from watcher.messages.sources import back, wrong

_SETTLED_S = 300
_REPEAT_S = 12 * 3600


def _rule(kind: str, raise_after_s: int, clear_after_s: int) -> Rule:
    return Rule(
        kind,
        Topic.SOURCES,
        Urgency.SOON,
        expires_after_s=6 * 3600,
        raise_after_s=raise_after_s,
        clear_after_s=clear_after_s,
        repeat_after_s=_REPEAT_S,
    )


SILENT = _rule("source silent", _SETTLED_S, _SETTLED_S)
STUCK = _rule("source stuck", 0, 3600)
IMPLAUSIBLE = _rule("source implausible", 0, 3600)
AHEAD = _rule("source clock ahead", 0, 3600)
DISTRUSTED = _rule("source distrusted", 0, 3600)
DISAGREES = _rule("source disagrees", 2 * 3600, 2 * 3600)
BACK = _rule("source back", 0, 0)
KINDS = frozenset(r.kind for r in (SILENT, STUCK, IMPLAUSIBLE, AHEAD, DISTRUSTED, DISAGREES))


def standings(view: AlertContext, _states: Mapping[ConditionKey, State]) -> Iterator[Evaluation]:
    """State what is wrong with every source."""
    for source in view.sources:
        found = (
            (SILENT, source.silent),
            (STUCK, bool(source.stuck)),
            (IMPLAUSIBLE, bool(source.implausible or source.units)),
            (AHEAD, source.ahead),
            (DISTRUSTED, bool(source.distrusted)),
            (DISAGREES, bool(source.disagrees)),
        )
        for rule, holds in found:
            yield Evaluation(rule, f"source:{source.name}", holds)


def tell(
    view: AlertContext, news: Sequence[Transition], lasting: Mapping[ConditionKey, State]
) -> Iterable[Alert]:
    """One notice a cycle for all that went wrong with sources, one for all that are well again."""
    sights = {f"source:{s.name}": s for s in view.sources}
    bad = [n for n in news if n.change is not News.CLEARED]
    if bad:
        found = [(n.kind, sights[n.standing.subject]) for n in bad]
        text = wrong(view.speaker, found, view.now)
        says = tuple(n.standing.key for n in bad)
        yield Alert(bad[0].standing.rule, "sources", _key(bad, view.now), text, view.now, says=says)
    still = {key.subject for key in lasting if key.kind in KINDS}
    well = [n for n in news if n.change is News.CLEARED and n.standing.subject not in still]
    if well:
        names = sorted({n.standing.subject.removeprefix("source:") for n in well})
        yield Alert(BACK, "sources", _key(well, view.now), back(names), view.now)


def _key(news: Sequence[Transition], now: int) -> str:
    what = "+".join(sorted(f"{n.standing.subject} {n.kind} {n.change.value}" for n in news))
    return f"sources/{what}/{now}"
