"""A change of a farm file's text, with comments, order and all that is not named as they were."""

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from watcher.farm.editing.edits import holds
from watcher.farm.validation_messages import Steps

__all__ = ["TOMLKitError", "put", "removed"]


def put(text: str, steps: Steps, value: Any) -> str:
    """Return a farm file's text with a value put at a place."""
    document = tomlkit.parse(text)
    _set_in(document, steps, value)
    return tomlkit.dumps(document)


def removed(text: str, steps: Steps) -> str:
    """Return a farm file's text with what stands at a place taken out, if anything does."""
    document = tomlkit.parse(text)
    *above, last = steps
    place: Any = document
    for step in above:
        if not holds(place, step):
            return text
        place = place[step]
    if holds(place, last):
        del place[last]
    return _with_comments(text, tomlkit.dumps(document))


def _set_in(document: tomlkit.TOMLDocument, steps: Steps, value: Any) -> None:
    *above, last = steps
    place: Any = document
    for depth, step in enumerate(above):
        if isinstance(step, str) and step not in place:
            place[step] = _new_table(depth)
        place = place[step]
    if isinstance(last, int) and last == len(place):
        # A list under headers of its own goes on under headers.
        place.append(_item(value, 1 if isinstance(place, AoT) else len(steps)))
    else:
        place[last] = _item(value, len(steps))


def _new_table(depth: int) -> Any:
    if depth == 0:
        return tomlkit.table(is_super_table=True)
    return tomlkit.table() if depth == 1 else tomlkit.inline_table()


def _item(value: Any, depth: int) -> Any:
    """A value as tomlkit has it: tables for entries under a header, on one line below them."""
    if isinstance(value, Mapping):
        table: Any = tomlkit.table() if depth <= 2 else tomlkit.inline_table()
        for key, inner in value.items():
            table[key] = _item(inner, depth + 1)
        return table
    if isinstance(value, list):
        array = tomlkit.array()
        for inner in value:
            array.append(_item(inner, 3))
        return array
    return tomlkit.item(value)


def _with_comments(before: str, after: str) -> str:
    """Put back the comments below an entry that was taken out: they are of what comes next."""
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    first = next(
        (i for i, pair in enumerate(zip(old, new, strict=False)) if len(set(pair)) > 1),
        min(len(old), len(new)),
    )
    gone = old[first : first + len(old) - len(new)]
    if len(new) >= len(old) or old[first + len(gone) :] != new[first:]:
        return after
    written = [
        i for i, line in enumerate(gone) if line.strip() and not line.lstrip().startswith("#")
    ]
    below = gone[written[-1] + 1 :] if written else []
    return "".join([*new[:first], *below, *new[first:]])
