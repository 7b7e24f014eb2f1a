"""What two versions of a farm's files differ in, as the grower reads it."""

import json
from pathlib import Path
from typing import Any

import pytest

from watcher.farm.editing.difference import FarmChange, difference
from watcher.farm.editing.texts import FarmTexts

SQUARE = [[[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]]
HOLE = [[0.2, 0.2], [0.4, 0.2], [0.2, 0.4], [0.2, 0.2]]


def texts(farm: str = "", shapes: Any = ()) -> FarmTexts:
    fields = shapes if isinstance(shapes, str) else json.dumps({"features": list(shapes)})
    return FarmTexts(Path("farm.toml"), farm, Path("fields.geojson"), fields)


def feature(name: Any, coordinates: Any) -> dict[str, Any]:
    return {"id": name, "geometry": {"type": "Polygon", "coordinates": coordinates}}


def lines(changes: tuple[FarmChange, ...]) -> list[tuple[str, str | None, str | None]]:
    return [
        (str(c.key), *(None if v is None else str(v) for v in (c.before, c.after))) for c in changes
    ]


@pytest.mark.parametrize(
    ("before", "after", "changes"),
    [
        ("x = 5", "x = 5.0 # the same", []),
        ("x = 5", "x = 6", [("x", "5", "6")]),
        ("x = 5", "", [("x", "5", None)]),
        ("", "x = true", [("x", None, "true")]),
        ("x = 1", "x = { y = 1 }", [("x", "1", "y 1")]),
        ("[a]\nb = 1\nc = 2", "[a]\nb = 1\nc = 3", [("a.c", "2", "3")]),
        ("[a.b]\nc = 1\nd = [1, 2]", "", [("a.b", "c 1, d 1; 2", None)]),
        ("", "[a.b]\nc = 1\nd = 'x'", [("a.b", None, "c 1, d x")]),
        ("[a.b]\nc = 1", "[a]", [("a.b", "c 1", None)]),
        ("[a]", "[a.b]\nc = 1", [("a.b", None, "c 1")]),
        ("[a.b.c]\nd = 1", "[a.b]", [("a.b.c", "d 1", None)]),
        ("[a.b]", "[a.b.c]\nd = 1", [("a.b.c", None, "d 1")]),
    ],
)
def test_keys_that_differ_are_told_an_entry_that_comes_or_goes_as_one(
    before: str, after: str, changes: list[Any]
) -> None:
    assert lines(difference(texts(before), texts(after))) == changes


def test_a_boundary_is_told_by_its_corners() -> None:
    hill, with_hole = feature("hill", SQUARE), feature("hill", [*SQUARE, HOLE])
    two = feature("two", [SQUARE, [*SQUARE, HOLE]])
    assert lines(difference(texts(shapes=[hill]), texts(shapes=[with_hole, two]))) == [
        ("boundary of hill", "4 corners", "7 corners"),
        ("boundary of two", None, "11 corners"),
    ]
    assert lines(difference(texts(shapes=[hill]), texts(shapes=[]))) == [
        ("boundary of hill", "4 corners", None)
    ]
    assert difference(texts(shapes=[hill, two]), texts(shapes=[two, hill])) == ()


@pytest.mark.parametrize("shapes", ["", "{}", "[1]", '{"features": 5}', '{"features": [1]}'])
def test_a_file_without_boundaries_has_none(shapes: str) -> None:
    hill = feature("hill", SQUARE)
    [change] = difference(texts(shapes=shapes), texts(shapes=[hill, {"geometry": None}]))
    assert str(change.after) == "4 corners"


@pytest.mark.parametrize("coordinates", [None, 5, [], [[]], [[[]]], ["x"]])
def test_a_boundary_that_is_none_has_no_corners(coordinates: Any) -> None:
    [change] = difference(texts(shapes=[]), texts(shapes=[feature("hill", coordinates)]))
    assert str(change.after) == "0 corners"
