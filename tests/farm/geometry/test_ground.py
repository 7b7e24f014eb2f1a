"""Ground in metres, against an independent geodesic library."""

import pyproj
import pytest
import shapely

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
