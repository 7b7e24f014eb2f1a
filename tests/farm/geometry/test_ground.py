"""Ground in metres, against an independent geodesic library."""

import pyproj
import pytest
import shapely

from tests.support.farms import build, tables
from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground

GLOBE = pyproj.Geod(ellps="WGS84")


def test_areas_are_true_to_the_geodesic_ones(example_farm: Farm) -> None:
    ground = example_farm.ground
    for name, shape in ground.fields_deg.items():
        geodesic = abs(GLOBE.geometry_area_perimeter(shapely.orient_polygons(shape))[0])
        assert ground.area_m2(name) == pytest.approx(geodesic, rel=1e-5)


def test_distances_and_bearings_from_the_middle_are_true(example_farm: Farm) -> None:
    ground = example_farm.ground
    latitude, longitude = ground.middle
    for name, shape in ground.fields.items():
        north, east = ground.centre(name)
        bearing, _, metres = GLOBE.inv(longitude, latitude, east, north)
        x, y = shape.centroid.x, shape.centroid.y
        assert (x**2 + y**2) ** 0.5 == pytest.approx(metres, abs=0.05)
        assert GLOBE.fwd(longitude, latitude, bearing, metres)[0] == pytest.approx(east)


def test_the_middle_lies_among_the_fields() -> None:
    fields = {"a": shapely.box(-97, 41, -96.99, 41.01), "b": shapely.box(-96.95, 41, -96.94, 41.01)}
    assert Ground(fields, {}).middle == pytest.approx((41.005, -96.97), abs=1e-6)


def test_a_farm_without_neighbours_has_none() -> None:
    assert Ground({"a": shapely.box(-97, 41, -96.99, 41.01)}, {}).neighbours == {}


FARM = build(tables()).ground
"""Squares of 400 m, the orchard 10 m north of one (within half a metre)."""


def test_a_strip_reaches_as_far_into_the_field_as_it_is_deep() -> None:
    field, orchard = FARM.fields["creek_side"], FARM.neighbours["orchard"]
    assert field.distance(orchard) == pytest.approx(10.0, abs=0.5)
    assert FARM.strips_m2("creek_side", {"orchard": 20.0}) == pytest.approx(20 * 400, rel=0.01)
    assert FARM.strips_m2("creek_side", {"orchard": 50.0}) == pytest.approx(50 * 400, rel=0.01)
    assert FARM.strips_m2("creek_side", {}) == 0.0


def test_ground_of_two_strips_counts_once() -> None:
    field = FARM.fields_deg["creek_side"]
    orchard = FARM.neighbours_deg["orchard"]
    ground = Ground({"a": field}, {"orchard": orchard, "same": orchard})
    alone = ground.strips_m2("a", {"orchard": 20.0})
    assert ground.strips_m2("a", {"orchard": 20.0, "same": 10.0}) == pytest.approx(alone)


def test_metres_are_brought_back_to_the_degrees_they_came_from() -> None:
    back = FARM.in_degrees(FARM.fields["hill"])
    assert back.hausdorff_distance(FARM.fields_deg["hill"]) < 1e-9
    place = FARM.in_degrees(FARM.point(41.001, -96.002))
    assert (place.y, place.x) == pytest.approx((41.001, -96.002))
