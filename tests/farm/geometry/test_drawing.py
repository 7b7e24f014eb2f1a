"""A shape that is being drawn: its area, who lies near, what it overlaps."""

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from tests.support.farms import build, tables
from watcher.farm.geometry.drawing import Overlap, among, drawn, share_of_smaller
from watcher.farm.geometry.ground import Ground, Polygonal
from watcher.farm.geometry.importing import outlines, typed_corners

FARM = build(tables()).ground
HILL = FARM.fields_deg["hill"]
CREEK = FARM.fields_deg["creek_side"]


def east_m(shape: Polygonal, metres: float) -> Polygonal:
    return shapely.transform(shape, lambda at: at + np.array([metres / (111_195 * 0.75471), 0]))


def test_the_area_is_what_the_farm_has_and_what_the_ellipsoid_says() -> None:
    found = drawn(HILL, "hill", "field", FARM)
    assert found.area_m2 == FARM.area_m2("hill")
    on_ellipsoid = abs(pyproj.Geod(ellps="WGS84").geometry_area_perimeter(HILL)[0])
    assert found.area_m2 == pytest.approx(on_ellipsoid, rel=1e-4)
    assert found.overlaps == ()


def test_a_neighbour_is_as_far_off_as_the_farm_has_it() -> None:
    [near] = drawn(CREEK, "creek_side", "field", FARM, within_m=50.0).near
    own, orchard = FARM.fields["creek_side"], FARM.neighbours["orchard"]
    assert (near.name, near.role) == ("orchard", "neighbour")
    assert near.distance_m == pytest.approx(own.distance(orchard), abs=0.01)
    assert drawn(CREEK, "creek_side", "field", FARM, within_m=5.0).near == ()


def test_fields_are_told_of_a_neighbour() -> None:
    orchard = FARM.neighbours_deg["orchard"]
    [near] = drawn(orchard, "orchard", "neighbour", FARM, within_m=50.0).near
    assert (near.name, near.role) == ("creek_side", "field")


def test_an_overlap_says_how_much() -> None:
    [one] = drawn(east_m(HILL, 2.0), "new", "field", FARM).overlaps
    assert one.name == "hill"
    assert one.area_m2 == pytest.approx(398.0 * 400.0, rel=0.01)
    assert one.share == pytest.approx(0.995, abs=0.001)
    assert not one.is_careless


def test_a_line_drawn_by_hand_is_told_but_careless() -> None:
    [one] = drawn(east_m(HILL, 396.0), "new", "field", FARM).overlaps
    assert one.share == pytest.approx(0.01, abs=0.003)
    assert one.is_careless


@pytest.mark.parametrize(("share", "careless"), [(0.0, True), (0.02, True), (0.0201, False)])
def test_two_per_cent_of_the_smaller_is_a_carelessly_drawn_line(
    share: float, careless: bool
) -> None:
    assert Overlap("hill", "field", 100.0, share).is_careless is careless


def test_an_overlap_is_a_share_of_the_smaller_of_two() -> None:
    yard, farm = shapely.box(0, 0, 1, 2), shapely.box(0.5, 0, 100, 100)
    assert share_of_smaller(yard, farm) == share_of_smaller(farm, yard) == 0.5


@pytest.mark.parametrize(("area_m2", "noticed"), [(9.0, False), (11.0, True)])
def test_ten_square_metres_in_both_are_told(area_m2: float, noticed: bool) -> None:
    west = shapely.box(-96.0, 41.0, -95.995, 41.005)

    def overlaps(degrees: float) -> tuple[Overlap, ...]:
        east = shapely.box(-95.995 - degrees, 41.0, -95.99, 41.005)
        return drawn(east, "east", "field", Ground({"west": west}, {})).overlaps

    [known] = overlaps(0.001)
    assert bool(overlaps(0.001 * area_m2 / known.area_m2)) is noticed


def test_the_largest_overlap_is_told_first() -> None:
    wide = shapely.union(HILL, east_m(HILL, 300.0))
    others = Ground({"little": east_m(HILL, 650.0), "much": east_m(HILL, 400.0)}, {})
    assert [o.name for o in drawn(wide, "wide", "field", others).overlaps] == ["much", "little"]


def test_who_lies_near_is_of_the_other_role_nearest_first() -> None:
    ground = Ground(FARM.fields_deg, FARM.neighbours_deg | {"house": east_m(CREEK, 450.0)})
    found = drawn(CREEK, "creek_side", "field", ground, within_m=5000.0).near
    assert [one.name for one in found] == ["orchard", "house"]
    at_bound = drawn(CREEK, "creek_side", "field", ground, within_m=found[0].distance_m).near
    assert [one.name for one in at_bound] == ["orchard"]


def test_nobody_is_near_where_no_distance_is_asked_for() -> None:
    ground = Ground(FARM.fields_deg, {"house": east_m(CREEK, 400.5)})
    assert drawn(CREEK, "creek_side", "field", ground).near == ()
    assert drawn(CREEK, "creek_side", "field", ground, within_m=1.0).near


def test_shapes_that_touch_do_not_overlap() -> None:
    assert drawn(east_m(HILL, 400.02), "new", "field", FARM).overlaps == ()


def test_neighbours_may_lie_in_each_other_but_not_in_a_field() -> None:
    orchard = FARM.neighbours_deg["orchard"]
    house = shapely.box(*orchard.centroid.buffer(0.0004).bounds)
    assert drawn(house, "house", "neighbour", FARM).overlaps == ()
    [one] = drawn(HILL, "house", "neighbour", FARM).overlaps
    assert (one.name, one.role) == ("hill", "field")


def test_a_first_field_needs_no_others() -> None:
    assert drawn(HILL, "", "field", Ground({}, {})).area_m2 == pytest.approx(160_000, rel=0.01)


def test_fields_that_come_together_are_held_against_each_other_once() -> None:
    [(name, over)] = among({"a": HILL, "b": east_m(HILL, 100.0), "c": CREEK})
    assert (name, over.name) == ("a", "b")


@st.composite
def shapes(draw: st.DrawFn) -> Polygonal:
    """A field of one or two parts, with a hole now and then."""
    parts = []
    for k in range(draw(st.integers(1, 2))):
        x, y = -96.0 + 0.02 * k, 41.0
        w, h = draw(st.floats(0.002, 0.01)), draw(st.floats(0.002, 0.01))
        holes = []
        if draw(st.booleans()):
            holes = [shapely.box(x + w / 4, y + h / 4, x + w / 2, y + h / 2).exterior.coords]
        parts.append(shapely.Polygon(shapely.box(x, y, x + w, y + h).exterior.coords, holes))
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


@given(shapes())
def test_what_is_typed_is_the_shape_it_came_from(shape: Polygonal) -> None:
    [read] = outlines(typed_corners(shape))
    assert read.shape.geom_type == shape.geom_type
    assert read.shape.symmetric_difference(shape).area < 1e-8
    assert typed_corners(read.shape) == typed_corners(shape)
