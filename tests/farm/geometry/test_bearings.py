"""Who lies which way: sliding contact against independent geometry, sides and compass points."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.affinity import rotate, translate

from watcher.farm.geometry.bearings import (
    compass_point,
    facing,
    gap,
    reach,
    side,
    sides,
    width,
)
from watcher.farm.geometry.ground import Ground, Polygonal

FIELD = shapely.box(0, 0, 100, 50)


def _step(bearing: float) -> tuple[float, float]:
    return float(np.sin(np.deg2rad(bearing))), float(np.cos(np.deg2rad(bearing)))


def _slid(field: Polygonal, bearing: int, distance: float) -> Polygonal:
    east, north = _step(bearing)
    return translate(field, east * distance, north * distance)


corner = st.floats(-50, 50)
cloud = st.lists(st.tuples(corner, corner), min_size=3, max_size=8)


@st.composite
def convex_pairs(draw: st.DrawFn) -> tuple[Polygonal, Polygonal]:
    field, neighbour = (shapely.MultiPoint(draw(cloud)).convex_hull for _ in range(2))
    bearing, away = draw(st.floats(0, 360)), draw(st.floats(101, 500))
    east, north = _step(bearing)
    neighbour = translate(neighbour, east * away, north * away)
    for shape in (field, neighbour):
        assume(isinstance(shape, shapely.Polygon) and shape.area > 100)
    assume(field.distance(neighbour) > 1)
    return field, neighbour


@given(convex_pairs(), st.integers(0, 359))
def test_convex_shapes_meet_where_their_minkowski_difference_says(
    pair: tuple[Polygonal, Polygonal], bearing: int
) -> None:
    # A convex field meets a convex neighbour when the slide vector enters neighbour - field.
    field, neighbour = pair
    corners = shapely.get_coordinates(neighbour)[:, None] - shapely.get_coordinates(field)[None]
    difference = shapely.MultiPoint(corners.reshape(-1, 2)).convex_hull
    east, north = _step(bearing)
    ray = shapely.LineString([(0, 0), (2000 * east, 2000 * north)])
    chord = ray.intersection(difference).length
    assume(chord == 0 or chord > 0.1)  # a graze counts as either
    assume(chord > 0 or ray.distance(difference) > 1e-3)
    expected = shapely.Point(0, 0).distance(ray.intersection(difference)) if chord else np.inf
    assert gap(field, neighbour)[bearing] == pytest.approx(expected, abs=1e-6)


L_SHAPE = shapely.Polygon([(0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100)])
RING = shapely.box(-80, -80, 180, 180).difference(shapely.box(-40, -40, 140, 140))
TWO_PARTS = shapely.MultiPolygon([shapely.box(150, 0, 170, 30), shapely.box(60, 60, 90, 90)])


@pytest.mark.parametrize("bearing", [0, 17, 63, 90, 135, 181, 226, 270, 315, 359])
@pytest.mark.parametrize(
    ("field", "neighbour"),
    [(L_SHAPE, RING), (L_SHAPE, TWO_PARTS), (TWO_PARTS, L_SHAPE), (rotate(L_SHAPE, 33), RING)],
    ids=["inside a ring", "two parts", "field of two parts", "turned"],
)
def test_contact_comes_no_earlier_and_no_later_than_sliding_step_by_step(
    field: Polygonal, neighbour: Polygonal, bearing: int
) -> None:
    steps = np.arange(0.0, 400.0, 0.25)
    shadow = np.array([_slid(field, bearing, step) for step in steps])
    touching = shapely.intersects(shadow, neighbour)
    first = steps[touching.argmax()] if touching.any() else np.inf
    found = gap(field, neighbour)[bearing]
    assert found == first or first - 0.25 - 1e-6 <= found <= first + 1e-6


def test_a_touching_neighbour_is_near_on_its_own_side_and_never_on_the_other() -> None:
    gaps = gap(FIELD, shapely.box(0, 50, 100, 90))
    assert gaps[0] == pytest.approx(0.5)
    assert gaps[60] == pytest.approx(1.0)
    assert np.isinf(gaps[90:271]).all()


def test_a_small_overlap_is_treated_as_touching() -> None:
    gaps = gap(FIELD, shapely.box(0, 48, 100, 90))
    assert gaps[0] == pytest.approx(0.5)
    assert np.isinf(gaps[90:271]).all()


@pytest.mark.parametrize("cut_out", [True, False])
def test_a_yard_inside_a_field_is_near_all_round(cut_out: bool) -> None:
    yard = shapely.box(40, 20, 60, 30)
    field = FIELD.difference(yard) if cut_out else FIELD
    assert (gap(field, yard) < 1).all()


def test_a_field_wholly_inside_a_neighbour_has_no_gap_anywhere() -> None:
    assert (gap(FIELD, shapely.box(-10, -10, 200, 200)) == 0).all()


@pytest.mark.parametrize("west", [-100.0, 100.0])
def test_a_neighbour_along_the_very_edge_of_the_drift_is_reached(west: float) -> None:
    gaps = gap(FIELD, shapely.box(west, 60, west + 100, 90))
    assert gaps[0] == pytest.approx(10.0)
    assert np.isinf(gaps[180])


def test_many_cornered_shapes_are_cut_into_blocks_without_changing_the_answer() -> None:
    field = shapely.Point(0, 0).buffer(100, quad_segs=64)
    neighbour = shapely.Point(400, 0).buffer(100, quad_segs=64)
    gaps = gap(field, neighbour)
    assert gaps[90] == pytest.approx(200.0, abs=0.1)
    # Two circles 400 m apart touch when the centres are 200 m apart (law of cosines).
    turn = np.deg2rad(20)
    expected = 400 * np.cos(turn) - np.sqrt(200**2 - (400 * np.sin(turn)) ** 2)
    assert gaps[70] == pytest.approx(expected, rel=2e-3)


def test_the_corner_at_which_a_drawing_begins_changes_nothing() -> None:
    """A tip of the field that points at a slanted side is nearest, whichever comes first."""
    field = [(50.0, 60.0), (10.0, 0.0), (90.0, 0.0)]
    neighbour = [(0.0, 70.0), (100.0, 90.0), (100.0, 150.0), (0.0, 150.0)]
    gaps = [
        gap(
            shapely.Polygon([*field[i:], *field[:i]]),
            shapely.Polygon([*neighbour[j:], *neighbour[:j]]),
        )
        for i in range(3)
        for j in range(4)
    ]
    assert gaps[0][0] == pytest.approx(20.0)  # the side is 80 m north there
    for other in gaps[1:]:
        np.testing.assert_allclose(other, gaps[0])


def test_width_is_the_extent_along_the_bearing() -> None:
    bearings = np.deg2rad(np.arange(360))
    # Of a rectangle: its sides' shares along the bearing.
    expected = 100 * np.abs(np.sin(bearings)) + 50 * np.abs(np.cos(bearings))
    np.testing.assert_allclose(width(FIELD), expected)
    assert width(FIELD)[[0, 90, 180, 270]].tolist() == [50, 100, 50, 100]


@given(cloud, st.integers(0, 179))
def test_a_field_is_as_wide_there_as_back(points: list[tuple[float, float]], bearing: int) -> None:
    shape = shapely.MultiPoint(points).convex_hull
    assume(isinstance(shape, shapely.Polygon))
    widths = width(shape)
    assert widths[bearing] == pytest.approx(widths[bearing + 180])


@pytest.mark.parametrize(
    ("neighbour", "expected"),
    [
        (shapely.box(0, 60, 100, 70), "N"),
        (shapely.box(-500, 50, 600, 70), "N"),
        (shapely.box(110, 60, 200, 90), "NE"),
        (shapely.box(101, -500, 130, 30), "E"),
        (shapely.box(-30, -40, -20, -30), "SW"),
        (shapely.box(-500, 0, -50, 50), "W"),
        (shapely.box(-50, -50, 150, 100).difference(shapely.box(-10, -10, 110, 60)), "all round"),
    ],
)
def test_the_side_facing_a_neighbour(neighbour: Polygonal, expected: str) -> None:
    assert side(FIELD, neighbour) == expected


@pytest.mark.parametrize(
    ("gaps", "expected"),
    [
        ({0: 10.0}, "N"),
        ({0: 10.0, 90: 11.0}, "NE"),  # as near as makes no difference: a metre
        ({0: 10.0, 90: 11.1}, "N"),
        # The mean of three and of one the other way is half as long as either, a side still;
        # of seven and four it is under a third: no side.
        (dict.fromkeys([359, 0, 1, 180], 5.0), "N"),
        (dict.fromkeys([357, 358, 359, 0, 1, 2, 3, 178, 179, 180, 181], 5.0), "all round"),
    ],
)
def test_the_nearest_bearings_say_which_side(gaps: dict[int, float], expected: str) -> None:
    gap_m = np.full(360, np.inf)
    gap_m[list(gaps)] = list(gaps.values())
    assert facing(gap_m) == expected


@pytest.mark.parametrize(
    ("bearing", "point"), [(0, "N"), (22, "N"), (23, "NE"), (180, "S"), (338, "N"), (-45, "NW")]
)
def test_compass_points(bearing: float, point: str) -> None:
    assert compass_point(bearing) == point


def test_sides_face_outward_longest_first() -> None:
    found = sides(FIELD)
    assert [s.length_m for s in found] == pytest.approx([100, 100, 50, 50])
    assert {s.point for s in found[:2]} == {"N", "S"}
    assert {s.point for s in found[2:]} == {"E", "W"}


def test_each_side_tells_where_it_runs_and_faces_away_from_the_field() -> None:
    found = {s.point: s for s in sides(FIELD)}
    assert {p: s.outward_deg for p, s in found.items()} == {"N": 0, "E": 90, "S": 180, "W": 270}
    assert {p: s.corners for p, s in found.items()} == {
        "N": ((100, 50), (0, 50)),
        "E": ((100, 0), (100, 50)),
        "S": ((0, 0), (100, 0)),
        "W": ((0, 50), (0, 0)),
    }


@pytest.mark.parametrize(("bulge_m", "count"), [(1.8, 4), (2.2, 5)])
def test_a_corner_two_per_cent_of_its_size_off_a_side_is_one(bulge_m: float, count: int) -> None:
    corners = [(0, 0), (100, 0), (100, 100), (50, 100 + bulge_m), (0, 100)]
    assert len(sides(shapely.Polygon(corners))) == count


def test_sides_leave_out_drawing_wobble_and_yards() -> None:
    wobbly = shapely.segmentize(FIELD, 10.0)
    wobbly = shapely.transform(wobbly, lambda xy: xy + 0.3 * np.sin(xy[:, ::-1]))
    wobbly = wobbly.difference(shapely.box(40, 20, 60, 30))
    assert sorted(s.point for s in sides(wobbly)) == ["E", "N", "S", "W"]


def _ground() -> Ground:
    # Squares of 0.005 degrees near 41.5 N, 96.5 W: about 417 m by 555 m.
    def square(east: float, north: float, size: float = 0.005) -> shapely.Polygon:
        return shapely.box(-96.5 + east, 41.5 + north, -96.5 + east + size, 41.5 + north + size)

    return Ground(
        {"home": square(0, 0), "far": square(0.1, 0)},
        {"orchard": square(0.006, 0), "bees": square(0.1, 0.0055, 0.001), "town": square(0.5, 0)},
    )


def test_only_pairs_within_reach_are_kept_in_order() -> None:
    found = reach(_ground(), 100.0)
    assert found.pair_field.tolist() == [0, 1]
    assert found.pair_neighbour.tolist() == [0, 1]
    assert found.gap_m.shape == (2, 360)
    assert found.width_m.shape == (2, 360)


def test_pairs_are_ordered_by_field_then_neighbour() -> None:
    def field(north: float) -> shapely.Polygon:
        return shapely.box(-96.5, 41.5 + north, -96.499, 41.501 + north)

    ground = Ground(
        {"a": field(0), "b": field(0.02)},
        {"y": field(0.022), "x": field(0.002), "z": field(-0.002)},
    )
    found = reach(ground, 200.0)
    pairs = zip(found.pair_field.tolist(), found.pair_neighbour.tolist(), strict=True)
    assert list(pairs) == [(0, 1), (0, 2), (1, 0)]
    # x north of a, z south of it, y north of b.
    assert np.isfinite(found.gap_m[:, [0, 180]]).tolist() == [
        [True, False],
        [False, True],
        [True, False],
    ]


def test_gaps_are_metres_along_true_bearings() -> None:
    # 0.001 degrees of longitude at 41.5 N is 83.5 m, 0.0005 of latitude 55.5 m (WGS 84 arcs,
    # cos φ · a / sqrt(1 - e² sin² φ) and a(1-e²)/(1 - e² sin² φ)^1.5).
    found = reach(_ground(), 100.0)
    assert found.gap_m[0, 90] == pytest.approx(83.5, abs=0.2)
    assert found.gap_m[1, 0] == pytest.approx(55.5, abs=0.2)


def test_a_farm_without_neighbours_has_no_pairs() -> None:
    found = reach(Ground(_ground().fields_deg, {}), 100.0)
    assert found.gap_m.shape == (0, 360)
    assert found.width_m.shape == (2, 360)
