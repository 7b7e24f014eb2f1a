"""Sources that fall silent, stand still, say what cannot be, fail often or contradict the feed."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from watcher.alerts.conditions import Change, Key, News, Rule, Standing, State, Urgency
from watcher.alerts.notices import Notice
from watcher.alerts.view import View
from watcher.alerts.wording.sources import back, wrong
from watcher.farm.models import Topic

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


def standings(view: View, _states: Mapping[Key, State]) -> Iterator[Standing]:
    """State what is wrong with every source."""
    for source in view.sources:
        found = (
            (SILENT, source.silent),
            (STUCK, bool(source.stuck)),
            (IMPLAUSIBLE, bool(source.implausible)),
            (AHEAD, source.ahead),
            (DISTRUSTED, bool(source.distrusted)),
            (DISAGREES, bool(source.disagrees)),
        )
        for rule, holds in found:
            yield Standing(rule, f"source:{source.name}", holds)


def tell(view: View, news: Sequence[News], lasting: Mapping[Key, State]) -> Iterable[Notice]:
    """One notice a cycle for all that went wrong with sources, one for all that are well again."""
    sights = {f"source:{s.name}": s for s in view.sources}
    bad = [n for n in news if n.change is not Change.CLEARED]
    if bad:
        found = [(n.kind, sights[n.standing.subject]) for n in bad]
        text = wrong(view.speaker, found, view.now)
        yield Notice(bad[0].standing.rule, "sources", _key(bad, view.now), text, view.now)
    still = {key.subject for key in lasting if key.kind in KINDS}
    well = [n for n in news if n.change is Change.CLEARED and n.standing.subject not in still]
    if well:
        names = sorted({n.standing.subject.removeprefix("source:") for n in well})
        yield Notice(BACK, "sources", _key(well, view.now), back(names), view.now)


def _key(news: Sequence[News], now: int) -> str:
    what = "+".join(sorted(f"{n.standing.subject} {n.kind} {n.change.value}" for n in news))
    return f"sources/{what}/{now}"
