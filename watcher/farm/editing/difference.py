"""What two versions of a farm's files differ in, key by key as the grower writes them."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from watcher.farm.editing.texts import FarmTexts
from watcher.farm.validation_messages import Steps, dotted
from watcher.i18n.message import Param, say, say_n
from watcher.written_secrets import masked

BOUNDARIES = "boundaries"


@dataclass(frozen=True)
class FarmChange:
    """A place that two versions have differently; None where one has nothing there."""

    at: Steps
    before: Param | None
    after: Param | None

    @property
    def key(self) -> Param:
        """The place as the grower writes it."""
        if self.at[0] == BOUNDARIES:
            return say("boundary of {name}", name=str(self.at[1]))
        return dotted(self.at)


def difference(before: FarmTexts, after: FarmTexts) -> tuple[FarmChange, ...]:
    """Return what differs in value, not in form, in the order of the files."""
    values = tomllib.loads(before.farm), tomllib.loads(after.farm)
    found = list(_differ((), *values))
    old, new = _shapes(before.fields), _shapes(after.fields)
    for name in dict.fromkeys([*old, *new]):
        if old.get(name) != new.get(name):
            sides = (None if at is None else _corners(at) for at in (old.get(name), new.get(name)))
            found.append(FarmChange((BOUNDARIES, name), *sides))
    return tuple(found)


def _differ(at: tuple[int | str, ...], before: Any, after: Any) -> Iterator[FarmChange]:
    if isinstance(before, dict) and isinstance(after, dict):
        for key in dict.fromkeys([*before, *after]):
            if before.get(key) != after.get(key):
                yield from _differ((*at, key), before.get(key), after.get(key))
    elif isinstance(before, dict) and after is None and len(at) < 2:
        for key in before:
            yield from _differ((*at, key), before[key], None)
    elif isinstance(after, dict) and before is None and len(at) < 2:
        for key in after:
            yield from _differ((*at, key), None, after[key])
    else:
        yield FarmChange(at, _shown(before), _shown(after))


def _shown(value: Any) -> str | None:
    if isinstance(value, str):
        return masked(value)
    if value is None:
        return None
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_shown(inner)}" for key, inner in value.items())
    if isinstance(value, list):
        return "; ".join(str(_shown(inner)) for inner in value)
    return str(value).lower() if isinstance(value, bool) else str(value)


def _shapes(text: str) -> dict[str, Any]:
    try:
        features = json.loads(text)["features"]
        return {str(f["id"]): f.get("geometry") for f in features if "id" in f}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _corners(geometry: Any) -> Param:
    """How much there is of a boundary, for its numbers tell nobody anything."""
    coordinates = geometry.get("coordinates") if isinstance(geometry, Mapping) else None
    # The last position of a ring is its first again.
    count = sum(len(ring) - 1 for ring in _rings(coordinates))
    return say_n("{n} corner", "{n} corners", count)


def _rings(value: Any) -> Iterator[list[Any]]:
    """Yield the lists of positions in coordinates of whatever depth."""
    inner = [part for part in value if isinstance(part, list)] if isinstance(value, list) else []
    if inner and not any(isinstance(part, list) for part in inner[0]):
        yield inner
    else:
        for part in inner:
            yield from _rings(part)
