"""Sources that fall silent, stand still, say what cannot be, fail often or contradict the feed."""

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


def evaluate(
    context: AlertContext, _states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State what is wrong with every source."""
    for source in context.sources:
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
    context: AlertContext,
    transitions: Sequence[Transition],
    lasting: Mapping[ConditionKey, ConditionState],
) -> Iterable[Alert]:
    """One alert a cycle for all that went wrong with sources, one for all that are well again."""
    known = {f"source:{s.name}": s for s in context.sources}
    bad = [n for n in transitions if n.change is not TransitionKind.CLEARED]
    if bad:
        found = [(n.kind, known[n.evaluation.subject]) for n in bad]
        text = wrong(context.speaker, found, context.now)
        says = tuple(n.evaluation.key for n in bad)
        yield Alert(
            bad[0].evaluation.rule, "sources", _key(bad, context.now), text, context.now, says=says
        )
    still = {key.subject for key in lasting if key.kind in KINDS}
    well = [
        n
        for n in transitions
        if n.change is TransitionKind.CLEARED and n.evaluation.subject not in still
    ]
    if well:
        names = sorted({n.evaluation.subject.removeprefix("source:") for n in well})
        yield Alert(BACK, "sources", _key(well, context.now), back(names), context.now)


def _key(transitions: Sequence[Transition], now: int) -> str:
    what = "+".join(
        sorted(f"{n.evaluation.subject} {n.kind} {n.change.value}" for n in transitions)
    )
    return f"sources/{what}/{now}"
