"""Typed edits of a farm's files. Comments, order and all that is not named stay as they were.

What an edit comes to is worked out twice, on the plain values and in the text: a text that does not
read as the values is never kept.
"""

import copy
import json
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from typing import Any, Literal

from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.validation_messages import Steps, dotted, place_of
from watcher.i18n.message import Message, Param, say
from watcher.written_secrets import masked

Role = Literal["field", "neighbour"]
_MOST_STEPS = 12
_FIXED = ("farm", "fields_file")
_FIXED_OF_SOURCES = frozenset(
    {"files", "file", "ca_file", "address", "host", "port", "base_url", "url"}
)
"""Keys that name files of this machine or other machines: who may edit over the network must not

make the watch read or ask whatever it can reach. They are changed in the file only.
"""


@dataclass(frozen=True)
class SetValue:
    """Put a value at a place of the farm file: ``("fields", "hill", "weeds")``.

    A number one past a list's end adds to it. Dates and times may be ISO 8601 texts.
    """

    at: Steps
    value: Any


@dataclass(frozen=True)
class Remove:
    """Take out what stands at a place of the farm file, and nothing where nothing does."""

    at: Steps


@dataclass(frozen=True)
class SetBoundary:
    """Draw the boundary of a field or neighbour, anew or for the first time (RFC 7946)."""

    name: str
    role: Role
    geometry: Mapping[str, Any]


@dataclass(frozen=True)
class RemoveBoundary:
    """Take out the boundary of a field or neighbour."""

    name: str


Edit = SetValue | Remove | SetBoundary | RemoveBoundary


def edited(texts: FarmTexts, edits: Iterable[Edit]) -> FarmTexts:
    """Return the texts after all edits, in order.

    Raises ``FarmFileError`` for an edit that fits nowhere. What the texts then say is not checked.
    """
    for edit in edits:
        match edit:
            case SetValue() | Remove():
                texts = replace(texts, farm=_farm_after(texts, edit))
            case SetBoundary() | RemoveBoundary():
                texts = replace(texts, fields=_fields_after(texts, edit))
    return texts


def of_merge_patch(before: Mapping[str, Any], patch: Mapping[str, Any]) -> Iterator[Edit]:
    """Yield the edits of a JSON merge patch (RFC 7396) of the farm file."""
    yield from _of_patch((), before, patch)


def _of_patch(at: tuple[str, ...], before: Any, patch: Mapping[str, Any]) -> Iterator[Edit]:
    for key, value in patch.items():
        here = (*at, key)
        stands = before.get(key) if isinstance(before, Mapping) else None
        if value is None:
            yield Remove(here)
        elif isinstance(value, Mapping) and isinstance(stands, Mapping):
            yield from _of_patch(here, stands, value)
        else:
            yield SetValue(here, _without_null(value))


def _without_null(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _without_null(item) for key, item in value.items() if item is not None}
    return value


def _farm_after(texts: FarmTexts, edit: SetValue | Remove) -> str:
    steps = tuple(edit.at)
    _check_place(texts, steps)
    before = tomllib.loads(texts.farm)
    # Its library is only wanted where somebody changes the farm.
    from watcher.farm.editing import in_text  # noqa: PLC0415

    try:
        if isinstance(edit, Remove):
            wanted = _removed(before, steps)
            _check_machines(texts, steps, before, wanted)
            text = in_text.removed(texts.farm, steps)
        else:
            value = _native(place_of(steps, before), edit.value)
            wanted = _set(before, steps, value)
            _check_machines(texts, steps, before, wanted)
            text = in_text.put(texts.farm, steps, value)
        kept = _filled(tomllib.loads(text)) == _filled(wanted)
    except _NoPlaceError:
        wrong = say("there is no such place")
        raise _refused(texts, steps, wrong, say("look at what the farm file has there")) from None
    except (
        in_text.TOMLKitError,
        tomllib.TOMLDecodeError,
        TypeError,
        ValueError,
        KeyError,
        IndexError,
    ):
        kept = False
    if not kept:
        wrong = say("is written in a form that cannot be changed from here")
        raise _refused(texts, steps, wrong, say("change it in the farm file itself"))
    return text


def _filled(raw: dict[str, Any]) -> dict[str, Any]:
    """What is written, without tables in which nothing stands: they may have no header."""
    return {name: table for name, table in raw.items() if table != {}}


def _check_place(texts: FarmTexts, steps: Steps) -> None:
    named = all(isinstance(step, int) or (isinstance(step, str) and step) for step in steps)
    if not steps or len(steps) > _MOST_STEPS or not named or isinstance(steps[0], int):
        key = dotted([step for step in steps[:_MOST_STEPS] if step != ""])
        wrong = say("names no place in the farm file")
        raise _refused(texts, (), wrong, say("name table, entry and key"), key)


def check_machines(before: FarmTexts, after: FarmTexts) -> None:
    """Raise ``FarmFileError`` where other files or machines are named than before."""
    _check_machines(before, ("sources",), tomllib.loads(before.farm), tomllib.loads(after.farm))


def _check_machines(
    texts: FarmTexts, steps: Steps, before: dict[str, Any], after: dict[str, Any]
) -> None:
    same_file = _at(before, _FIXED) == _at(after, _FIXED)
    known = dict(_machines((), before.get("sources")))
    if same_file and all(
        _named(known.get(at)) == _named(named) for at, named in _machines((), after.get("sources"))
    ):
        return
    wrong = say("names a file or a machine: it is not changed over the network")
    raise _refused(texts, steps, wrong, say("change it in the farm file itself"))


def _named(machine: Any) -> Any:
    """What a place names, whatever secret opens it: that is shown to nobody and stays."""
    return masked(machine) if isinstance(machine, str) else machine


def _machines(at: tuple[Any, ...], table: Any) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Yield every file and machine that sources name, by its place."""
    items = table.items() if isinstance(table, Mapping) else ()
    for key, value in items:
        if at and key in _FIXED_OF_SOURCES:
            yield (*at, key), value
        else:
            yield from _machines((*at, key), value)


def _refused(
    texts: FarmTexts, steps: Steps, wrong: Message, mend: Message, key: Param | None = None
) -> FarmFileError:
    return FarmFileError([Problem(texts.file, dotted(steps) if key is None else key, wrong, mend)])


class _NoPlaceError(Exception):
    """Something that is no table or list stands where an edit goes on."""


def _set(raw: dict[str, Any], steps: Steps, value: Any) -> dict[str, Any]:
    whole = copy.deepcopy(raw)
    *above, last = steps
    place: Any = whole
    for step in above:
        if isinstance(place, dict) and isinstance(step, str):
            place = place.setdefault(step, {})
        elif isinstance(place, list) and isinstance(step, int) and 0 <= step < len(place):
            place = place[step]
        else:
            raise _NoPlaceError
    if isinstance(place, dict) and isinstance(last, str):
        place[last] = value
    elif isinstance(place, list) and isinstance(last, int) and 0 <= last <= len(place):
        place[last : last + 1] = [value]
    else:
        raise _NoPlaceError
    return whole


def _removed(raw: dict[str, Any], steps: Steps) -> dict[str, Any]:
    whole = copy.deepcopy(raw)
    place: Any = _at(whole, steps[:-1])
    last: Any = steps[-1]
    if holds(place, last):
        del place[last]
    return whole


def _at(whole: dict[str, Any], steps: Steps) -> Any:
    place: Any = whole
    for step in steps:
        if not holds(place, step):
            return None
        place = place[step]
    return place


def holds(place: Any, step: Any) -> bool:
    """Return whether a table or list has something at a step."""
    if isinstance(place, Mapping):
        return step in place
    return isinstance(place, list) and isinstance(step, int) and 0 <= step < len(place)


def _native(place: Any, value: Any) -> Any:
    """Make dates and times of texts where the farm file wants them; leave all else as it is."""
    if isinstance(value, str) and place in {date, time}:
        try:
            return place.fromisoformat(value)
        except ValueError:
            return value
    if isinstance(value, Mapping):
        return {key: _native(place_of((key,), value, place), item) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_native(place_of((i,), value, place), item) for i, item in enumerate(value)]
    return value


def _fields_after(texts: FarmTexts, edit: SetBoundary | RemoveBoundary) -> str:
    try:
        collection = json.loads(texts.fields or '{"type": "FeatureCollection", "features": []}')
        features = collection["features"]
        assert isinstance(features, list)  # noqa: S101  # answered below
    except (ValueError, KeyError, TypeError, RecursionError, AssertionError):
        wrong = say("cannot be changed: it is no collection of boundaries")
        mend = say("export the boundaries as GeoJSON again")
        raise FarmFileError([Problem(texts.fields_file, "", wrong, mend)]) from None
    at = [
        i for i, f in enumerate(features) if isinstance(f, dict) and str(f.get("id")) == edit.name
    ]
    if isinstance(edit, RemoveBoundary):
        kept = [f for i, f in enumerate(features) if i not in at]
    else:
        old: dict[str, Any] = features[at[0]] if at else {"type": "Feature", "id": edit.name}
        properties = dict(old.get("properties") or {}) | {"role": edit.role}
        new = {**old, "properties": properties, "geometry": dict(edit.geometry)}
        kept = [new if i in at[:1] else f for i, f in enumerate(features)] + ([] if at else [new])
    head = {key: value for key, value in collection.items() if key != "features"}
    lines = ",\n".join(json.dumps(f, ensure_ascii=False) for f in kept)
    opening = json.dumps(head, ensure_ascii=False)[:-1]
    return f'{opening}{", " if head else ""}"features": [\n{lines}\n]}}\n'
