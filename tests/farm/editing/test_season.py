"""A season that ends, and a field that is copied."""

import json
from typing import Any

import pytest
import shapely

from watcher.farm.editing.edits import edited
from watcher.farm.editing.season import Compass, FieldBegins, field_copied, season_ended
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError

# All of the field that is of one season only, but the crop. Invented.
_SEASON = """
next_crop = "oats"
canopy = "12 in"
latest = 2026-06-18
done_on = 2026-06-10
pests = "foxtail"
planted = 2026-05-04
stages = { R1 = 2026-06-27 }
stages_on = 2026-06-25
points = 3
soil = "moist"
soil_on = 2026-06-10
"""
_LASTS = {"weeds", "window", "location"}


@pytest.fixture
def texts(farm: Any) -> FarmTexts:
    farm.edit('weeds = "weedy"', f'weeds = "weedy"\nlocation = "T1 (invented)"{_SEASON}')
    return FarmTexts.of_files(farm.write())


def begun(**changes: FieldBegins) -> dict[str, FieldBegins]:
    return {name: FieldBegins("clean") for name in ("north", "south")} | changes


def after(texts: FarmTexts, **changes: FieldBegins) -> dict[str, Any]:
    fields: dict[str, Any] = edited(texts, season_ended(texts.load(), texts, begun(**changes))).raw[
        "fields"
    ]
    return fields


def test_what_is_of_a_season_goes_and_all_else_stays(texts: FarmTexts) -> None:
    found, old = after(texts)["north"], texts.raw["fields"]["north"]
    assert set(found) == _LASTS | {"crop"}
    assert (found["crop"], found["weeds"]) == ("oats", "clean")
    assert {key: found[key] for key in _LASTS - {"weeds"}} == {
        key: old[key] for key in _LASTS - {"weeds"}
    }


def test_the_crop_is_what_is_said_else_what_was_noted_else_what_grew(texts: FarmTexts) -> None:
    found = after(texts, north=FieldBegins("weedy", crop="rye"))
    assert found["north"]["crop"] == "rye"
    assert found["south"]["crop"] == "corn"


def test_a_canopy_that_is_said_takes_the_place_of_the_old_one(texts: FarmTexts) -> None:
    begins = FieldBegins("weedy", canopy="4 in")
    found = after(texts, north=begins, south=begins)
    assert found["north"]["canopy"] == found["south"]["canopy"] == "4 in"
    assert "latest" not in found["north"]


def test_how_weedy_each_field_is_must_be_said_and_of_no_other(texts: FarmTexts) -> None:
    begins = begun(south=FieldBegins(""), moon=FieldBegins("clean"))
    del begins["north"]
    with pytest.raises(FarmFileError) as refused:
        list(season_ended(texts.load(), texts, begins))
    assert [str(p.key) for p in refused.value.problems] == [
        "fields.moon",
        "fields.north.weeds",
        "fields.south.weeds",
    ]


@pytest.mark.parametrize(
    ("side", "east", "north"), [("north", 0, 1), ("east", 1, 0), ("south", 0, -1), ("west", -1, 0)]
)
def test_a_copy_lies_ten_metres_beside_the_field(
    texts: FarmTexts, side: Compass, east: int, north: int
) -> None:
    copied = edited(texts, field_copied(texts.load(), texts, "north", "copy", side))
    shape = next(f for f in json.loads(copied.fields)["features"] if f["id"] == "copy")
    ground = texts.load().ground
    west, south, right, top = ground.fields["north"].bounds
    corners = shapely.get_coordinates(shapely.geometry.shape(shape["geometry"]))
    places = [ground.point(lat, lon) for lon, lat in corners]
    bounds = shapely.MultiPoint(places).bounds
    off = east * (right - west + 10), north * (top - south + 10)
    expected = (west + off[0], south + off[1], right + off[0], top + off[1])
    assert bounds == pytest.approx(expected, abs=0.01)
    assert set(copied.raw["fields"]["copy"]) == _LASTS | {"crop"}
    assert copied.raw["fields"]["north"] == texts.raw["fields"]["north"]


def test_a_copy_may_be_drawn_at_once(texts: FarmTexts) -> None:
    ring = [[-96.99, 41.60], [-96.98, 41.60], [-96.98, 41.61], [-96.99, 41.60]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    copied = edited(texts, field_copied(texts.load(), texts, "north", "copy", shape)).load()
    assert copied.ground.area_m2("copy") == pytest.approx(463_000, rel=0.01)


@pytest.mark.parametrize("name", ["south", "orchard"])
def test_a_copy_takes_no_name_there_is(texts: FarmTexts, name: str) -> None:
    with pytest.raises(FarmFileError, match="is there already"):
        list(field_copied(texts.load(), texts, "north", name, "north"))
