"""Names a command is given: known, or refused with those there are."""

from collections.abc import Iterable, Sequence

from watcher.cli.context import stop
from watcher.i18n.message import Message, say


def no_such(what: str, name: str, there: Iterable[str]) -> Message:
    """Return that a name is none of the farm's, with those there are."""
    names = ", ".join(there)
    wrong = {
        "field": say("no field '{name}'", name=name),
        "setup": say("no setup '{name}'", name=name),
        "sprayer": say("no sprayer '{name}'", name=name),
        "source": say("no source '{name}'", name=name),
        "station": say("no station '{name}'", name=name),
    }[what]
    if not names:
        return say("{wrong}; the farm file has none", wrong=wrong)
    return say("{wrong}; the farm file has {names}", wrong=wrong, names=names)


def known(names: Sequence[str], there: Sequence[str], what: str) -> list[str]:
    """Return the names given, all that are there when none was; stop at one that is not."""
    unknown = [name for name in names if name not in there]
    if unknown:
        stop(no_such(what, unknown[0], there))
    return list(names) or list(there)
