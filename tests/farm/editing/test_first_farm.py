"""What stands beside a field until it is drawn, and names the farm file takes."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.affinity import rotate

from watcher.farm.editing.first_farm import SIDES, Side, beside, name_for
from watcher.farm.geometry.ground import Ground

# Invented ground: about 830 m by 1110 m.
SQUARE = shapely.box(-96.95, 41.62, -96.94, 41.63)
SHAPES = {
    "square": SQUARE,
    "turned": rotate(SQUARE, 30),
    "hollow": SQUARE.difference(shapely.box(-96.948, 41.625, -96.942, 41.63)),
}


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("shape", SHAPES)
def test_it_touches_the_field_and_reaches_a_hundred_metres(shape: str, side: Side) -> None:
    field = SHAPES[shape]
    strip = beside(field, side)
    ground = Ground({"field": field}, {"strip": strip})
    own, other = ground.fields["field"], ground.neighbours["strip"]
    assert own.distance(other) < 0.1
    assert own.intersection(other).area < 0.001 * own.area
    away = {"north": 3, "east": 2, "south": 1, "west": 0}[side]
    reaches = other.bounds[away] - own.bounds[away]
    assert abs(reaches) == pytest.approx(100, abs=0.5)


@given(
    latitude=st.floats(-65.0, 65.0),
    longitude=st.floats(-179.0, 179.0),
    reach_m=st.lists(st.floats(60.0, 500.0), min_size=4, max_size=9),
    box=st.booleans(),
    side=st.sampled_from(SIDES),
)
def test_beside_a_field_drawn_anywhere_there_is_ground_that_the_farm_file_takes(
    latitude: float, longitude: float, reach_m: list[float], box: bool, side: Side
) -> None:
    """Also of one with spikes, and of one along meridian and parallel, rounded as it is kept."""
    per_m = np.array([1 / np.cos(np.radians(latitude)), 1.0]) / 111_195.0
    angles = np.linspace(0.0, 2 * np.pi, len(reach_m), endpoint=False)
    corners = np.array(reach_m)[:, None] * np.c_[np.cos(angles), np.sin(angles)] * per_m
    field = shapely.Polygon((corners + np.array([longitude, latitude])).round(7))
    found = beside(field.envelope if box else field, side)
    assert found.is_valid
    assert not found.is_empty


def test_a_field_beside_is_not_its_neighbour() -> None:
    other = shapely.box(-96.95, 41.63, -96.94, 41.64)
    assert beside(SQUARE, "north", [other]).is_empty
    assert not beside(SQUARE, "south", [other]).is_empty


@pytest.mark.parametrize(("wide_m", "kept"), [(1.8, False), (2.2, True)])
def test_a_sliver_of_less_than_two_hundred_square_metres_is_none(wide_m: float, kept: bool) -> None:
    # A hundred metres deep; a degree of longitude at 41.63 N is 83.35 km (WGS 84).
    other = shapely.box(-96.95 + wide_m / 83_350, 41.63, -96.93, 41.64)
    assert beside(SQUARE, "north", [other]).is_empty is not kept


def test_what_stands_beside_is_to_a_centimetre() -> None:
    corners = shapely.get_coordinates(beside(rotate(SQUARE, 30), "north"))
    assert (corners == corners.round(7)).all()


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Long eighty", "long_eighty"),
        ("Ñandú №7 / oeste", "nandu_no7_oeste"),
        ("", "field"),
        ("!!!", "field"),
        ("taken", "taken_2"),
        ("twice", "twice_3"),
        ("x" * 80, "x" * 40),
    ],
)
def test_a_name_is_one_the_farm_file_takes(text: str, name: str) -> None:
    assert name_for(text, ["taken", "twice", "twice_2"], "field") == name
