"""Boundaries against RFC 7946: what is read, and what is told of what is not."""

import json
from pathlib import Path
from typing import Any

import pytest

from watcher.farm.geometry.boundaries import (
    BadShapeError,
    Boundaries,
    boundary_of,
    read_boundaries,
)

SQUARE = [[[0, 0], [0.01, 0], [0.01, 0.01], [0, 0.01], [0, 0]]]
HOLE = [[0.004, 0.004], [0.004, 0.006], [0.006, 0.006], [0.006, 0.004], [0.004, 0.004]]


def _feature(geometry: Any, name: Any = "home") -> dict[str, Any]:
    return {"type": "Feature", "id": name, "properties": {}, "geometry": geometry}


def _read(folder: Path, *features: Any, **more: Any) -> Boundaries:
    file = folder / "fields.geojson"
    collection = {"type": "FeatureCollection", "features": list(features)} | more
    file.write_text(json.dumps(collection), encoding="utf-8")
    return read_boundaries(file)


def _drawn(folder: Path, coordinates: Any, kind: str = "Polygon") -> Boundaries:
    return _read(folder, _feature({"type": kind, "coordinates": coordinates}))


def test_a_polygon_is_read_longitude_first(tmp_path: Path) -> None:
    read = _drawn(tmp_path, [[[7, 51], [8, 51], [8, 52], [7, 51]]])
    assert read.problems == ()
    assert read.shapes["home"].bounds == (7, 51, 8, 52)


def test_holes_parts_and_heights_are_read(tmp_path: Path) -> None:
    ring = [[x, y, 300.0] for x, y in SQUARE[0]]
    other = [[[x + 1, y] for x, y in SQUARE[0]]]
    read = _drawn(tmp_path, [[ring, HOLE], other], "MultiPolygon")
    assert read.shapes["home"].area == pytest.approx(2e-4 - 4e-6)


def test_rings_may_run_either_way(tmp_path: Path) -> None:
    # RFC 7946, 3.1.6: parsers should not reject Polygons that do not follow the right-hand rule.
    assert _drawn(tmp_path, [SQUARE[0][::-1]]).problems == ()


def test_a_number_is_an_id_too(tmp_path: Path) -> None:
    geometry = {"type": "Polygon", "coordinates": SQUARE}
    assert "12" in _read(tmp_path, _feature(geometry, 12)).shapes


def test_one_without_an_id_is_told_by_what_it_has(tmp_path: Path) -> None:
    feature = _feature({"type": "Polygon", "coordinates": SQUARE}, None)
    feature["properties"] = {"name": "Hill", "area": 16, "owner": "us", "soil": "loam"}
    (problem,) = _read(tmp_path, feature).problems
    assert "(the one with name: Hill, area: 16, owner: us)" in str(problem.wrong)


@pytest.mark.parametrize("crs", ["urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326"])
def test_an_old_file_that_says_it_is_in_wgs_84_is_read(tmp_path: Path, crs: str) -> None:
    feature = _feature({"type": "Polygon", "coordinates": SQUARE})
    read = _read(tmp_path, feature, crs={"type": "name", "properties": {"name": crs}})
    assert read.problems == ()


BOW_TIE = [[[0, 0], [0.01, 0.01], [0.01, 0], [0, 0.01], [0, 0]]]
WRONG = [
    ("not closed", [[[0, 0], [1, 0], [1, 1], [0, 1]]], "is not closed", "first position"),
    ("two corners", [[[0, 0], [1, 0], [0, 0]]], "3 positions, fewer than 4", "3 corners"),
    ("crossed", BOW_TIE, "longitude 0.005000, latitude 0.005000", "draw that boundary again"),
    ("latitude first", [[[41, -96], [42, -96], [42, -95], [41, -96]]], "latitude first", "first"),
    ("metres", [[[6e5, 4e6], [7e5, 4e6], [7e5, 5e6], [6e5, 4e6]]], "not a place", "not in metres"),
    ("text", [[["0", "0"], ["1", "0"], ["1", "1"], ["0", "0"]]], "a position holds '0'", "number"),
    ("true", [[[True, 0], [1, 0], [1, 1], [True, 0]]], "a position holds True", "numbers"),
    ("endless", [[[10**400, 0], [1, 0], [1, 1], [0, 0]]], "a position holds 1000", "export"),
    ("nan", [[[float("nan"), 0], [1, 0], [1, 1], [0, 0]]], "a position holds nan", "export"),
    ("one number", [[[0], [1], [2], [0]]], "not [longitude, latitude]", "export"),
    ("empty", [], "not a list, or empty", "export"),
    ("flat", [[0, 0], [1, 0], [1, 1], [0, 0]], "not a list, or empty", "export"),
    ("hole outside", [SQUARE[0], [[x + 1, y] for x, y in HOLE]], "hole lies outside", "draw"),
]


@pytest.mark.parametrize(
    ("coordinates", "wrong", "mend"), [w[1:] for w in WRONG], ids=[w[0] for w in WRONG]
)
def test_a_boundary_that_is_none_is_told(
    tmp_path: Path, coordinates: Any, wrong: str, mend: str
) -> None:
    read = _drawn(tmp_path, coordinates)
    (problem,) = read.problems
    assert problem.key == 'feature "home"'
    assert wrong in str(problem.wrong)
    assert mend in str(problem.mend)
    assert read.shapes == {}
    assert read.named == {"home"}


def _ring_at(position: list[float]) -> list[list[list[float]]]:
    return [[position, [1, 1], [2, 1], position]]


@pytest.mark.parametrize(
    ("position", "wrong"),
    [
        ([10, 90], None),
        ([-10, -90], None),
        ([180, 10], None),
        ([-180, -10], None),
        ([10, 90, 1200], None),
        ([10, 90.1], "has its latitude first"),
        ([90, 91], "has its latitude first"),
        ([90.1, 91], "is not a place in degrees"),
        ([180.1, 10], "is not a place in degrees"),
        ([999_999_999, 10], "is not a place in degrees"),
        ([1e9, 10], "a position holds 1000000000.0"),
        ([1.1e9, 10], "a position holds 1100000000.0"),
        ([10, 9, 8, 7], "not [longitude, latitude]"),
    ],
)
def test_a_position_is_a_place_up_to_the_poles_and_the_date_line(
    tmp_path: Path, position: list[float], wrong: str | None
) -> None:
    read = _drawn(tmp_path, _ring_at(position))
    if wrong is None:
        assert read.problems == ()
    else:
        assert wrong in str(read.problems[0].wrong)


def test_what_a_position_holds_is_told_no_longer_than_a_line(tmp_path: Path) -> None:
    [text] = _drawn(tmp_path, _ring_at(["x" * 500, 0])).problems
    assert str(text.wrong) == "a position holds '" + "x" * 79
    [number] = _drawn(tmp_path, _ring_at([10**400, 0])).problems
    assert str(number.wrong) == "a position holds 1" + "0" * 19


def test_an_open_ring_is_told_with_both_its_ends(tmp_path: Path) -> None:
    [problem] = _drawn(tmp_path, [[[7, 51], [8, 51], [8, 52], [6, 50]]]).problems
    assert str(problem.wrong) == (
        "a ring is not closed: it starts at longitude 7.000000, latitude 51.000000"
        " and ends at longitude 6.000000, latitude 50.000000"
    )


def test_where_a_boundary_crosses_itself_is_told() -> None:
    ring = [[7, 51], [7.02, 51.01], [7.02, 51], [7, 51.01], [7, 51]]
    with pytest.raises(BadShapeError) as refused:
        boundary_of({"geometry": {"type": "Polygon", "coordinates": [ring]}})
    assert refused.value.at == pytest.approx((7.01, 51.005))


@pytest.mark.parametrize("name", [True, 1.5, ["home"], None])
def test_an_id_is_text_or_a_whole_number(tmp_path: Path, name: Any) -> None:
    feature = _feature({"type": "Polygon", "coordinates": SQUARE}, name)
    feature["properties"] = ["Hill"]
    (problem,) = _read(tmp_path, feature).problems
    assert str(problem.wrong) == 'has no "id"'


@pytest.mark.parametrize(
    "feature",
    [
        _feature({"type": "Point", "coordinates": [0, 0]}),
        _feature(None),
        _feature("Polygon"),
        _feature({"type": "Polygon"}),
    ],
)
def test_only_polygons_are_boundaries(tmp_path: Path, feature: Any) -> None:
    (problem,) = _read(tmp_path, feature).problems
    assert problem.key == 'feature "home"'


def test_a_feature_without_an_id_is_told_by_its_properties(tmp_path: Path) -> None:
    feature = _feature({"type": "Polygon", "coordinates": SQUARE}, None)
    feature["properties"] = {"name": "north forty"}
    (problem,) = _read(tmp_path, feature).problems
    assert str(problem.key) == "features (item 1)"
    assert "name: north forty" in str(problem.wrong)


def test_an_id_may_be_used_once(tmp_path: Path) -> None:
    feature = _feature({"type": "Polygon", "coordinates": SQUARE})
    (problem,) = _read(tmp_path, feature, feature).problems
    assert "second feature" in str(problem.wrong)


@pytest.mark.parametrize("feature", [None, 3, [], {"type": "Polygon", "coordinates": SQUARE}])
def test_what_is_no_feature_is_told(tmp_path: Path, feature: Any) -> None:
    (problem,) = _read(tmp_path, feature).problems
    assert "is not a Feature" in str(problem.wrong)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("{", "line 1, column 2"),
        ("[]", "type"),
        ('{"type": "Polygon"}', "type"),
        ('{"type": "FeatureCollection"}', "features"),
        ('{"type": "FeatureCollection", "features": {}}', "features"),
        ('{"type": "FeatureCollection", "features": [], "crs": "EPSG:26914"}', "crs"),
        ("[" * 100_000, ""),
    ],
)
def test_a_file_that_is_no_feature_collection_is_told(tmp_path: Path, text: str, key: str) -> None:
    file = tmp_path / "fields.geojson"
    file.write_text(text, encoding="utf-8")
    read = read_boundaries(file)
    (problem,) = read.problems
    assert str(problem.key) == key
    assert read.named is None


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    (problem,) = read_boundaries(tmp_path / "nowhere.geojson").problems
    assert "cannot be read" in str(problem.wrong)
