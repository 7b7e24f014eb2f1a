"""Edits of a whole farm: a season that ends, and a field that is copied."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import shapely

from watcher.farm import Farm
from watcher.farm.editing.edits import Edit, Remove, SetBoundary, SetValue
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import say

Compass = Literal["north", "east", "south", "west"]
_OF_SEASON = (
    "next_crop",
    "canopy",
    "latest",
    "done_on",
    "pests",
    "planted",
    "stages",
    "stages_on",
    "points",
    "soil",
    "soil_on",
)
"""What is so for a season only. Products and windows stay: without them a label would be dropped
unseen."""
_APART_M = 10.0


@dataclass(frozen=True)
class FieldBegins:
    """How a field begins the new season. Empty: the crop noted as next, else the one it had."""

    weeds: str
    crop: str = ""
    canopy: str = ""


def season_ended(farm: Farm, texts: FarmTexts, begins: Mapping[str, FieldBegins]) -> Iterator[Edit]:
    """Yield the edits by which every field begins anew; ``texts`` are the farm's files.

    Raises ``FarmFileError`` for fields of which nobody says how weedy they are now.
    """
    fields = farm.config.fields
    problems = [
        Problem(texts.file, dotted(("fields", name)), say("there is none"), say("leave it out"))
        for name in begins
        if name not in fields
    ]
    problems += [
        Problem(
            texts.file,
            dotted(("fields", name, "weeds")),
            say("is not known for the new season"),
            say("say how weedy it is: clean, moderate or weedy"),
        )
        for name in fields
        if name not in begins or not begins[name].weeds
    ]
    if problems:
        raise FarmFileError(problems, farm.language)
    raw = tomllib.loads(texts.farm)
    for name, begin in begins.items():
        at, stands = ("fields", name), raw.get("fields", {}).get(name, {})
        crop = begin.crop or fields[name].next_crop or fields[name].crop
        yield SetValue((*at, "crop"), crop)
        yield SetValue((*at, "weeds"), begin.weeds)
        for key in _OF_SEASON:
            if key in stands and not (key == "canopy" and begin.canopy):
                yield Remove((*at, key))
        if begin.canopy:
            yield SetValue((*at, "canopy"), begin.canopy)


def field_copied(
    farm: Farm,
    texts: FarmTexts,
    field: str,
    name: str,
    where: Compass | Mapping[str, Any],
) -> Iterator[Edit]:
    """Yield the edits that add a field like another one, without what is of its season.

    ``where`` is its boundary (RFC 7946), or to which side of the other one it is laid, to be drawn
    right afterwards. Raises ``FarmFileError`` where the name is taken.
    """
    if name in farm.config.fields or name in farm.config.neighbours:
        wrong, mend = say("is there already"), say("give the copy another name")
        raise FarmFileError([Problem(texts.file, dotted(("fields", name)), wrong, mend)])
    raw = tomllib.loads(texts.farm)
    entry = {k: v for k, v in raw["fields"][field].items() if k not in _OF_SEASON}
    yield SetValue(("fields", name), entry)
    geometry = _beside(farm, field, where) if isinstance(where, str) else where
    yield SetBoundary(name, "field", geometry)


def _beside(farm: Farm, field: str, side: Compass) -> dict[str, Any]:
    shape = farm.ground.fields[field]
    west, south, east, north = shape.bounds
    along = {
        "north": (0.0, north - south + _APART_M),
        "south": (0.0, south - north - _APART_M),
        "east": (east - west + _APART_M, 0.0),
        "west": (west - east - _APART_M, 0.0),
    }[side]
    moved = shapely.transform(shape, lambda metres: metres + along)
    degrees = shapely.set_precision(farm.ground.in_degrees(moved), 1e-8)
    found: dict[str, Any] = json.loads(shapely.to_geojson(shapely.orient_polygons(degrees)))
    return found
