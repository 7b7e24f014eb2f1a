"""Recipients who cannot be reached: the others are told, and they themselves once they can be."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from watcher.alerts.conditions import Change, Key, News, Rule, Standing, State, Urgency
from watcher.alerts.notices import Notice
from watcher.alerts.view import View
from watcher.alerts.wording.watch import unreachable
from watcher.farm.models import Topic

UNREACHABLE = Rule(
    "recipient unreachable",
    Topic.SOURCES,
    Urgency.SOON,
    expires_after_s=6 * 3600,
    clear_after_s=600,
    repeat_after_s=24 * 3600,
)
KINDS = frozenset({UNREACHABLE.kind})


def standings(view: View, _states: Mapping[Key, State]) -> Iterator[Standing]:
    """State for every recipient whether messages to them do not arrive."""
    for name in view.speaker.farm.told.recipients:
        yield Standing(UNREACHABLE, f"recipient:{name}", name in view.out_of_reach)


def tell(view: View, news: Sequence[News], _lasting: Mapping[Key, State]) -> Iterable[Notice]:
    """One notice for each that cannot be reached."""
    for item in news:
        if item.change is not Change.CLEARED:
            name = item.standing.subject.removeprefix("recipient:")
            text = unreachable(name, view.out_of_reach[name])
            key = f"{item.standing.subject}/{item.kind}/{view.now}"
            yield Notice(UNREACHABLE, item.standing.subject, key, text, view.now)
