"""Which sides face a neighbour: a field of 400 m squared, north up, and shapes round it."""

import pytest
import shapely
import shapely.affinity

from watcher.farm.geometry.bearings import sides
from watcher.farm.geometry.facing import Faced, faced

FIELD = shapely.box(-200, -200, 200, 200)


def seen(
    neighbour: shapely.Polygon | shapely.MultiPolygon, field: shapely.Polygon = FIELD
) -> dict[str, Faced]:
    found = faced(field, sides(field), neighbour, 100.0)
    return {f.side.point if f.side else "yard": f for f in found}


def test_only_the_side_it_lies_before_faces_a_neighbour() -> None:
    north = seen(shapely.box(-200, 210, 200, 300))
    assert set(north) == {"N"}
    assert north["N"].distance_m == pytest.approx(10.0)


def test_a_neighbour_wider_than_the_field_is_before_one_side_still() -> None:
    assert set(seen(shapely.box(-600, 210, 600, 300))) == {"N"}


def test_a_neighbour_round_three_sides_is_faced_by_each_at_its_own_distance() -> None:
    horseshoe = shapely.box(-300, -200, 240, 210.0 + 60).difference(
        shapely.box(-205, -300, 220, 210)
    )
    found = seen(horseshoe)
    assert {p: round(f.distance_m) for p, f in found.items()} == {"N": 10, "E": 20, "W": 5}


@pytest.mark.parametrize(
    ("corner", "east", "north"), [("NE", 1, 1), ("NW", -1, 1), ("SE", 1, -1), ("SW", -1, -1)]
)
def test_off_a_corner_it_is_faced_by_both_sides_that_see_it_half_aside(
    corner: str, east: int, north: int
) -> None:
    house = shapely.affinity.translate(shapely.box(-20, -20, 20, 20), 240 * east, 240 * north)
    assert set(seen(house)) == set(corner)


def test_further_along_than_off_a_side_it_is_faced_by_the_other_alone() -> None:
    # 53 m east of the corner and at most 45 m north of it: beyond half right of the north side.
    assert set(seen(shapely.box(253, 240, 260, 245))) == {"E"}


@pytest.mark.parametrize(("ahead_m2", "counts"), [(0.9, False), (1.1, True)])
def test_less_than_a_square_metre_ahead_is_not_ahead(ahead_m2: float, counts: bool) -> None:
    reaching_in = -200 + ahead_m2 / 90
    part = seen(shapely.box(-600, 210, reaching_in, 300))["N"].part
    assert (part.area < 2.0) is counts  # else all that lies half to the left of the side


@pytest.mark.parametrize(("inside", "found"), [(40, {"N"}), (60, {"yard"})])
def test_what_lies_mostly_in_the_field_is_a_yard(inside: float, found: set[str]) -> None:
    assert set(seen(shapely.box(-50, 200 - inside, 50, 300 - inside))) == found


def test_two_ends_of_one_neighbour_before_a_side_are_both_its_part() -> None:
    horseshoe = shapely.box(-600, 210, 600, 400).difference(shapely.box(-100, 200, 100, 350))
    part = seen(horseshoe)["N"].part
    assert part.geom_type == "MultiPolygon"
    assert part.area == pytest.approx(2 * 100 * 90)


def test_a_yard_in_a_hole_is_faced_by_no_side() -> None:
    yard = shapely.box(-20, -20, 20, 20)
    assert set(seen(yard, FIELD.difference(yard))) == {"yard"}


def test_pieces_on_opposite_sides_are_no_yard_though_their_middle_is_in_the_field() -> None:
    pieces = shapely.union(shapely.box(-200, 210, 200, 300), shapely.box(-200, -300, 200, -210))
    assert set(seen(pieces)) == {"N", "S"}


def test_beyond_the_distance_asked_for_nobody_is_faced() -> None:
    assert seen(shapely.box(-200, 301, 200, 400)) == {}


def test_a_side_sees_only_what_lies_ahead_of_it() -> None:
    part = seen(shapely.box(-600, 210, 600, 400))["N"].part
    assert part.bounds == pytest.approx((-200, 210, 200, 300))
