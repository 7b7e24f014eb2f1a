"""The editor of a boundary: what its page begins with, and what is said of a shape being drawn."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from watcher.farm.geometry.boundaries import BadShapeError
from watcher.farm.geometry.drawing import DrawnShape, Role, among, drawn
from watcher.farm.geometry.ground import Ground, Polygonal
from watcher.farm.geometry.importing import Outline, outlines, typed_corners
from watcher.i18n.language import Language
from watcher.i18n.message import Message, Name, joined, say
from watcher.messages.drawing import area_line, near_lines, overlap_line, overlap_mend
from watcher.sources.tile_address import MapPictures
from watcher.units import Kind, System, convert
from watcher.web.context import TILES_AT
from watcher.web.renderer import static_url

NEAR_M = 300.0
"""Who lies within this is said while a boundary is drawn."""
_MOST_NEAR = 6
_STEPS: Mapping[System, Sequence[float]] = {"us": (1, 5, 25, 100), "metric": (0.5, 2, 10, 50)}
_USUAL_STEP = 1
HERE = {"permissions-policy": "geolocation=(self)"}
"""The phone's position may be asked for, on pages with an editor only."""


@dataclass(frozen=True)
class MapEditor:
    """What the page of an editor begins with."""

    around: Mapping[str, tuple[str, Polygonal]]
    """What is drawn already: how it is drawn, and its shape in degrees."""
    place: tuple[float, float] | None
    """Latitude and longitude of the middle while nothing is drawn."""
    system: System
    look_at: str
    """Where a shape that is being drawn is looked at."""
    name: str = ""
    role: Role = "field"
    pictures: MapPictures | None = None
    overlaps: Sequence[Message] = ()
    """What the shape that was sent overlaps, to be said so."""
    said_so: bool = False
    asks_overlap: bool = False
    """Whether it is asked without script too that an overlap is meant."""
    one_place: bool = False
    """Whether one place is set, on a map of the world, and no boundary drawn."""

    @property
    def steps(self) -> list[tuple[str, str, bool]]:
        """What one step of a corner may be: in metres, as it is read, whether it is the usual."""
        unit = Kind.LENGTH.shown[self.system]
        return [
            (f"{convert(step, unit, Kind.LENGTH):.4g}", f"{step:g} {unit}", i == _USUAL_STEP)
            for i, step in enumerate(_STEPS[self.system])
        ]

    @property
    def data(self) -> str:
        """All that the script needs, as JSON."""
        kind = Kind.DISTANCE if self.one_place else Kind.LENGTH
        unit = kind.shown[self.system]
        return json.dumps(
            {
                "around": [
                    {"name": name, "kind": kind, "shape": json.loads(shapely.to_geojson(shape))}
                    for name, (kind, shape) in self.around.items()
                ],
                "place": self.place,
                "unit": unit,
                "unitM": convert(1.0, unit, kind),
                "look": self.look_at,
                "name": self.name,
                "role": self.role,
                "one": self.one_place,
                "land": static_url("land.svg") if self.one_place and not self.pictures else "",
                "tiles": TILES_AT if self.pictures else "",
                "greatest": self.pictures.greatest_zoom if self.pictures else 0,
            }
        )


@dataclass(frozen=True)
class Looked:
    """A shape that was sent, and what it comes to beside the others."""

    outline: Outline
    found: DrawnShape


def one_outline(text: str) -> Outline:
    """Return the one boundary of a text. Raises ``BadShapeError``."""
    found = outlines(text)
    if len(found) > 1:
        wrong = say("it holds {count} boundaries", count=len(found))
        raise BadShapeError(wrong, say("leave the one that is meant"))
    return found[0]


def look(text: str, name: str, role: Role, around: Ground) -> Looked:
    """Look at the one shape in a text. Raises ``BadShapeError`` with what is wrong and the mend."""
    outline = one_outline(text)
    return Looked(outline, drawn(outline.shape, name, role, around, within_m=NEAR_M))


def overlap_lines(found: DrawnShape, system: System) -> list[Message]:
    """Say each overlap of a shape."""
    return [overlap_line(one, system) for one in found.overlaps]


def look_answer(looked: Looked, system: System, language: Language) -> dict[str, Any]:
    """Say what a shape comes to, for the script of its page."""
    found = looked.found
    near = near_lines(found.near[:_MOST_NEAR], system)
    return {
        "area": area_line(found.area_m2, system).render(language),
        "near": [line.render(language) for line in near],
        "overlaps": [line.render(language) for line in overlap_lines(found, system)],
        "mend": overlap_mend(found).render(language) if found.overlaps else "",
        "corners": typed_corners(looked.outline.shape),
        "name": looked.outline.name,
    }


def look_answer_of_several(
    found: Sequence[Outline], system: System, language: Language
) -> dict[str, Any]:
    """Say what several fields that come together come to."""
    shapes = {one.name or str(i): one.shape for i, one in enumerate(found, start=1)}
    grounds = [Ground({name: shape}, {}).area_m2(name) for name, shape in shapes.items()]
    over = [
        joined([Name(name), overlap_line(overlap, system)], " ") for name, overlap in among(shapes)
    ]
    return {
        "area": area_line(sum(grounds), system).render(language),
        "near": [say("Fields: {count}", count=len(shapes)).render(language)],
        "overlaps": [line.render(language) for line in over],
        "mend": "",
        "corners": "",
        "name": "",
    }


def refused(error: BadShapeError, language: Language) -> dict[str, Any]:
    """Say why a shape cannot be, and where, for the script of its page."""
    return {
        "wrong": joined([error.wrong, error.mend], "; ").render(language),
        "at": error.at,
    }
