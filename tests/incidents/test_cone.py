"""The wind of some moments as one angle, and who lies in it up- and downwind."""

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from watcher.incidents.cone import cone_of, lies, sector, width_deg
from watcher.records.facts import Air, Spoke


def air(from_deg: float | None, spread: float | None = 5.0, *, measured: bool = True) -> Air:
    return Air(
        at=0,
        mark="start",
        wind_m_s=3.0,
        wind_height_m=3.0,
        gust_m_s=4.0,
        wind_from_deg=from_deg,
        wind_spread_deg=spread,
        temp_c=20.0,
        temp_height_m=2.0,
        humidity_pct=50.0,
        delta_t_k=4.0,
        inversion="none",
        stability="D",
        evidence={},
        spoken={"wind_from_deg": Spoke(source="mast", age_s=0.0, measured=measured)},
        quality=(),
    )


def square(east: float, north: float, size: float = 100.0) -> shapely.Polygon:
    return shapely.box(east, north, east + size, north + size)


def test_the_cone_holds_two_deviations_to_either_side() -> None:
    cone = cone_of([air(180.0, 9.0)], 15.0)
    assert (cone.low_deg, cone.high_deg) == (162.0, 198.0)


def test_a_turning_wind_widens_the_cone_over_all_its_directions() -> None:
    cone = cone_of([air(350.0), air(20.0)], 15.0)
    assert (cone.low_deg, cone.high_deg) == (340.0, 30.0)
    assert width_deg(cone) == 50.0


def test_without_a_direction_there_is_no_cone_and_nobody_lies_in_or_out() -> None:
    assert cone_of([air(None), air(None)], 15.0) is None
    assert lies(None, square(0, 0), square(0, 500)) == ("not known", "not known")


def test_a_moment_without_direction_is_counted_and_widens_nothing() -> None:
    cone = cone_of([air(180.0), air(None)], 15.0)
    assert cone.known == 1
    assert width_deg(cone) == 20.0


def test_a_swing_nobody_measured_is_the_farm_files_and_said() -> None:
    cone = cone_of([air(180.0, None), air(180.0, 2.0)], 15.0)
    assert (cone.low_deg, cone.high_deg) == (150.0, 210.0)
    assert cone.swing_by_default == 1


def test_a_direction_only_foretold_is_counted_as_such() -> None:
    assert cone_of([air(180.0, measured=False), air(180.0)], 15.0).foretold == 1


def test_winds_from_all_sides_leave_no_side_out() -> None:
    cone = cone_of([air(d, 30.0) for d in (0.0, 120.0, 240.0)], 15.0)
    assert cone.all_round
    assert lies(cone, square(0, 0), square(0, 500)) == ("in", "in")


@pytest.mark.parametrize(
    ("wind", "expected"),
    [(0.0, ("in", "out")), (180.0, ("out", "in")), (90.0, ("out", "out"))],
)
def test_a_square_to_the_north_lies_where_the_wind_says(wind, expected) -> None:
    assert lies(cone_of([air(wind)], 15.0), square(0, 0), square(0, 500)) == expected


def test_a_point_has_neighbours_up_and_downwind_too() -> None:
    cone = cone_of([air(270.0)], 15.0)
    assert lies(cone, shapely.Point(0, 0), square(-600, -50)) == ("in", "out")


@given(winds=st.lists(st.tuples(st.floats(0, 359.9), st.floats(0, 40)), min_size=1, max_size=6))
def test_the_cone_holds_every_direction_with_its_swing(winds) -> None:
    cone = cone_of([air(d, s) for d, s in winds], 15.0)
    for direction, spread in winds:
        for end in (direction - 2 * spread, direction, direction + 2 * spread):
            inside = (end - cone.low_deg) % 360.0
            # Whole bearings are what who lies where is looked at by.
            assert cone.all_round or inside <= width_deg(cone) + 1.0 or inside >= 359.0


def test_the_cone_on_the_ground_opens_upwind_and_downwind() -> None:
    cone = cone_of([air(0.0)], 15.0)
    up, down = (sector((0.0, 0.0), cone, 100.0, upwind=way) for way in (True, False))
    assert up.contains(shapely.Point(0, 50))
    assert not up.contains(shapely.Point(0, -50))
    assert down.contains(shapely.Point(0, -50))
