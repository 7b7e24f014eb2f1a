"""Which sides to spray first: neighbours at chosen sides, in one wind after another."""

from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate

from tests.support.compass_farm import FIELD, beside, compass_farm, turned
from tests.support.worked_farm import NOON_UTC, fair_weather, farm_tables
from watcher.farm import Farm
from watcher.judge.end_rows import ALL_ROUND, EndRow, Turn, Why, end_rows
from watcher.judge.judgement import judge
from watcher.judge.neighbour_deposits import neighbour_deposits
from watcher.limits.farm_arrays import FarmArrays

HOUR = 3600
SIDES = ("N", "E", "S", "W")
NORTH = {"vines": beside("N", 10.0)}


def rows_of(farm: Farm, setup: str = "coarse15", **sky: Any) -> dict[str, EndRow]:
    plan = FarmArrays.of(farm)
    judgement = judge(plan, fair_weather(**sky))
    return {r.side: r for r in end_rows(judgement, 0, plan.setups.index(setup), 0)}


def test_the_side_beside_a_neighbour_the_wind_blows_away_from_is_first() -> None:
    rows = rows_of(compass_farm(NORTH), wind_from_deg=0.0)
    assert next(iter(rows)) == "N"
    assert (rows["N"].turn, rows["N"].why) == (Turn.FIRST, Why.AWAY)
    assert rows["N"].neighbour == "vines"
    assert rows["N"].distance_m == pytest.approx(10.0, abs=0.01)


def test_calm_air_towards_a_neighbour_that_stands_it_is_a_reason_to_go_first() -> None:
    rows = rows_of(compass_farm(NORTH), wind_from_deg=180.0, wind_mph=4.0)
    assert (rows["N"].turn, rows["N"].why) == (Turn.FIRST, Why.CALM)


def test_a_side_the_wind_blows_over_is_left_for_the_hour_the_forecast_turns() -> None:
    wind = np.where(np.arange(72) < 3, 180.0, 0.0)
    row = rows_of(compass_farm(NORTH), wind_from_deg=wind, wind_mph=9.0)["N"]
    assert (row.turn, row.why) == (Turn.LEAVE, Why.DOWNWIND)
    assert row.changes_at == NOON_UTC + 3 * HOUR
    assert row.wind_from_then == "N"


def test_a_side_is_not_left_for_an_hour_in_which_the_field_is_closed() -> None:
    hours = np.arange(72)
    wind = np.where(hours < 3, 180.0, 0.0)
    rain = np.where((hours >= 3) & (hours < 12), 2.0, 0.0)
    row = rows_of(compass_farm(NORTH), wind_from_deg=wind, wind_mph=9.0, rain_mm_h=rain)["N"]
    # Rain-free time after is 4 h: until the rain is over the field is closed.
    assert row.changes_at is not None
    assert row.changes_at >= NOON_UTC + 12 * HOUR


def test_a_side_to_spray_first_names_the_hour_the_wind_turns_on_it() -> None:
    wind = np.where(np.arange(72) < 5, 0.0, 180.0)
    row = rows_of(compass_farm(NORTH), wind_from_deg=wind, wind_mph=9.0)["N"]
    assert row.turn is Turn.FIRST
    assert (row.changes_at, row.then) == (NOON_UTC + 5 * HOUR, Why.DOWNWIND)


def test_where_no_hour_is_better_the_swaths_to_leave_are_told() -> None:
    farm = compass_farm(NORTH, tables=any_wind_towards_neighbours())
    row = rows_of(farm, "fine15", wind_from_deg=180.0, wind_mph=9.0)["N"]
    assert (row.turn, row.changes_at) == (Turn.LEAVE, None)
    assert row.leave_swaths is not None
    assert row.leave_swaths >= 1


def test_no_swaths_are_told_where_the_wind_rule_itself_forbids_the_wind() -> None:
    row = rows_of(compass_farm(NORTH), "fine15", wind_from_deg=180.0, wind_mph=9.0)["N"]
    assert (row.turn, row.leave_swaths) == (Turn.LEAVE, None)


def any_wind_towards_neighbours() -> dict[str, Any]:
    wind = {"low": "3 mph", "high": "10 mph"}
    return {
        "windows": {
            "contact": {"wind": wind, "neighbours": {"susceptible": "any wind in the window"}}
        }
    }


@pytest.mark.parametrize("missing", ["wind_from_deg", "wind_mph"])
def test_without_a_wind_or_its_direction_a_side_that_someone_minds_is_left(missing: str) -> None:
    sky: dict[str, Any] = {missing: np.nan}
    row = rows_of(compass_farm(NORTH), **sky)["N"]
    assert (row.turn, row.why) == (Turn.LEAVE, Why.UNKNOWN)


def test_still_air_is_no_reason_to_go_first() -> None:
    row = rows_of(compass_farm(NORTH), wind_from_deg=0.0, wind_mph=1.0)["N"]
    assert (row.turn, row.why) == (Turn.LEAVE, Why.STILL)


def test_beside_a_very_susceptible_neighbour_only_calm_air_will_do() -> None:
    farm = compass_farm(NORTH, entries={"vines": {"susceptibility": "very susceptible"}})
    assert rows_of(farm, wind_from_deg=0.0, wind_mph=9.0)["N"].why is Why.NOT_CALM
    assert rows_of(farm, wind_from_deg=0.0, wind_mph=4.0)["N"].turn is Turn.FIRST


def test_downwind_within_the_labels_no_spray_distance_not_even_calm_air_will_do() -> None:
    farm = compass_farm(NORTH, entries={"vines": {"no_spray_distance": "20 m"}})
    assert rows_of(farm, wind_from_deg=180.0, wind_mph=4.0)["N"].why is Why.NO_SPRAY
    assert rows_of(farm, wind_from_deg=0.0, wind_mph=4.0)["N"].turn is Turn.FIRST


def test_calm_air_that_would_leave_more_than_it_stands_is_too_much() -> None:
    farm = compass_farm(NORTH, entries={"vines": {"tolerable_deposit": "0.01 %"}})
    row = rows_of(farm, "fine15", wind_from_deg=180.0, wind_mph=4.0)["N"]
    assert (row.turn, row.why) == (Turn.LEAVE, Why.TOO_MUCH)


def test_a_neighbour_that_takes_no_harm_gives_no_side_a_turn() -> None:
    farm = compass_farm(NORTH, entries={"vines": {"susceptibility": "tolerant"}})
    assert {r.why for r in rows_of(farm).values()} == {Why.NOBODY}


def test_a_neighbour_round_a_corner_leaves_only_the_side_the_wind_blows_over() -> None:
    corner = shapely.union(beside("N", 10.0), beside("E", 10.0))
    rows = rows_of(compass_farm({"vines": corner}), wind_from_deg=180.0, wind_mph=9.0)
    assert rows["N"].turn is Turn.LEAVE
    assert rows["E"].neighbour == "vines"
    assert rows["W"].why is Why.NOBODY


def test_a_yard_inside_the_field_has_a_turn_of_its_own() -> None:
    yard = shapely.box(-30, -30, 30, 30)
    rows = rows_of(
        compass_farm({"yard": yard}, field=FIELD.difference(yard.buffer(5, join_style="mitre"))),
        wind_mph=4.0,
    )
    assert rows[ALL_ROUND].neighbour == "yard"
    assert {rows[s].why for s in SIDES} == {Why.NOBODY}


def test_sides_to_spray_first_come_before_others_and_those_to_leave_last() -> None:
    both = {"vines": beside("N", 10.0), "garden": beside("S", 10.0)}
    rows = rows_of(compass_farm(both), wind_from_deg=0.0, wind_mph=9.0)
    assert next(iter(rows)) == "N"
    assert list(rows)[-1] == "S"


WEST_HALF, EAST_HALF = shapely.box(-200, 210, -5, 310), shapely.box(5, 210, 200, 310)


def halves(west: dict[str, Any], east: dict[str, Any], **sky: Any) -> EndRow:
    """The northern side where two neighbours share it, each with its entry."""
    farm = compass_farm(
        {"west": WEST_HALF, "east": EAST_HALF}, entries={"west": west, "east": east}
    )
    return rows_of(farm, **sky)["N"]


@pytest.mark.parametrize("swapped", [False, True])
def test_of_two_neighbours_before_a_side_the_one_that_is_worse_off_decides(swapped: bool) -> None:
    def decides(worse: dict[str, Any], better: dict[str, Any], **sky: Any) -> EndRow:
        row = halves(better, worse, **sky) if swapped else halves(worse, better, **sky)
        assert row.neighbour == ("east" if swapped else "west")
        return row

    towards = {"wind_from_deg": 180.0, "wind_mph": 4.0}
    # Why it waits, then the share of what it stands, then that share if the wind blew there.
    assert decides({"no_spray_distance": "20 m"}, {}, **towards).why is Why.NO_SPRAY
    less, more = {"tolerable_deposit": "1 %"}, {"tolerable_deposit": "2 %"}
    assert decides(less, more, **towards).why is Why.CALM
    assert decides(less, more, wind_from_deg=0.0, wind_mph=4.0).why is Why.AWAY


def test_of_two_that_are_alike_the_name_decides() -> None:
    assert halves({}, {}, wind_from_deg=0.0).neighbour == "west"


@pytest.mark.parametrize("first", range(4))
def test_of_sides_that_are_alike_the_one_the_wind_comes_over_is_first_and_then_clockwise(
    first: int,
) -> None:
    """Also where the field does not lie square to the north, and the wind comes from just right."""
    near = {f"n{side}": beside(side, 10.0) for side in SIDES}
    clockwise = [SIDES[(first + k) % 4] for k in range(4)]
    sky = {"wind_from_deg": 90.0 * first + 5.0, "wind_mph": 4.0}
    assert list(rows_of(compass_farm(near), **sky)) == clockwise
    turned_left = {name: rotate(shape, 8.0, (0, 0)) for name, shape in near.items()}
    farm = compass_farm(turned_left, field=rotate(FIELD, 8.0, (0, 0)))
    assert list(rows_of(farm, **sky)) == clockwise


def test_of_sides_to_spray_first_the_one_whose_neighbour_would_get_most_comes_first() -> None:
    near = {"close": beside("N", 10.0), "far": beside("W", 60.0)}
    assert next(iter(rows_of(compass_farm(near), wind_from_deg=275.0, wind_mph=4.0))) == "N"


def standing(share: float, **sky: Any) -> Farm:
    """A farm whose vines stand so much that what lands in this sky is that share of it."""
    plan = FarmArrays.of(compass_farm(NORTH))
    judgement = judge(plan, fair_weather(**sky))
    lands = neighbour_deposits(judgement, 0, plan.setups.index("fine15"), 0)[0]
    stands = {"tolerable_deposit": f"{lands.upper_pct / share!r} %"}
    return compass_farm(NORTH, entries={"vines": stands})


@pytest.mark.parametrize(("share", "why"), [(0.98, Why.CALM), (1.02, Why.TOO_MUCH)])
def test_more_than_it_stands_is_too_much_and_less_is_not(share: float, why: Why) -> None:
    sky = {"wind_from_deg": 180.0, "wind_mph": 4.0}
    assert rows_of(standing(share, **sky), "fine15", **sky)["N"].why is why


def test_swaths_are_told_by_the_air_of_the_moment() -> None:
    """Calm now, and more than it stands would land; from the next hour on the air is still."""
    farm = standing(1.5, wind_from_deg=180.0, wind_mph=4.0)
    wind = np.where(np.arange(72) < 1, 4.0, 1.0)
    row = rows_of(farm, "fine15", wind_from_deg=180.0, wind_mph=wind)["N"]
    assert (row.turn, row.why) == (Turn.LEAVE, Why.TOO_MUCH)
    assert row.leave_swaths is not None
    assert row.leave_swaths >= 1


def test_further_off_than_the_labels_no_spray_distance_calm_air_will_do() -> None:
    farm = compass_farm(NORTH, entries={"vines": {"no_spray_distance": "9 m"}})
    assert rows_of(farm, wind_from_deg=180.0, wind_mph=4.0)["N"].why is Why.CALM


def test_a_side_is_left_for_an_hour_of_calm_air() -> None:
    wind = np.where(np.arange(72) < 3, 9.0, 4.0)
    row = rows_of(compass_farm(NORTH), wind_from_deg=180.0, wind_mph=wind)["N"]
    assert (row.turn, row.changes_at, row.then) == (Turn.LEAVE, NOON_UTC + 3 * HOUR, Why.CALM)


@pytest.mark.parametrize(("turns_at", "seen"), [(47, True), (48, False)])
def test_a_wind_that_turns_beyond_the_two_days_looked_ahead_is_not_told(
    turns_at: int, seen: bool
) -> None:
    wind = np.where(np.arange(72) < turns_at, 0.0, 180.0)
    row = rows_of(compass_farm(NORTH), wind_from_deg=wind, wind_mph=9.0)["N"]
    assert row.changes_at == (NOON_UTC + turns_at * HOUR if seen else None)


def test_a_wind_of_no_known_direction_is_unknown_also_where_any_wind_is_allowed() -> None:
    farm = compass_farm(NORTH, tables=any_wind_towards_neighbours())
    assert rows_of(farm, wind_from_deg=np.nan, wind_mph=4.0)["N"].why is Why.UNKNOWN


def test_of_a_sprayer_without_curves_only_what_the_wind_blows_away_from_is_known() -> None:
    sprayers = farm_tables()["sprayers"]
    sprayers["boom"] |= {"kind": "hand-held"}
    farm = compass_farm(NORTH, tables={"sprayers": sprayers})
    assert rows_of(farm, wind_from_deg=0.0, wind_mph=4.0)["N"].why is Why.AWAY
    assert rows_of(farm, wind_from_deg=180.0, wind_mph=4.0)["N"].why is Why.UNKNOWN


some_sides = st.dictionaries(st.sampled_from(SIDES), st.floats(2.0, 60.0), max_size=4)
winds = st.integers(0, 359 * 64).map(lambda n: n / 64)  # a quarter turn more is exact, too
speeds = st.floats(0.5, 12.0)


@settings(max_examples=30, deadline=None)
@given(near=some_sides, wind_from=winds, mph=speeds)
def test_a_side_without_a_neighbour_in_reach_never_has_a_turn_because_of_one(
    near: dict[str, float], wind_from: float, mph: float
) -> None:
    farm = compass_farm({f"n{side}": beside(side, gap) for side, gap in near.items()})
    rows = rows_of(farm, wind_from_deg=wind_from, wind_mph=mph, hours=12)
    assert set(rows) == set(SIDES)
    for side, row in rows.items():
        assert (row.why is Why.NOBODY) == (side not in near)
        assert (row.turn is Turn.ANY_TIME) == (side not in near)
        assert row.neighbour == (f"n{side}" if side in near else None)


@settings(max_examples=30, deadline=None)
@given(near=some_sides, wind_from=winds, mph=speeds, quarters=st.integers(1, 3))
def test_turning_the_whole_scene_turns_the_answer(
    near: dict[str, float], wind_from: float, mph: float, quarters: int
) -> None:
    scene = {f"n{side}": beside(side, gap) for side, gap in near.items()}
    sky = {"wind_mph": mph, "hours": 12}
    before = rows_of(compass_farm(scene), wind_from_deg=wind_from, **sky)
    after = rows_of(
        compass_farm({name: turned(shape, quarters) for name, shape in scene.items()}),
        wind_from_deg=(wind_from + 90.0 * quarters) % 360.0,
        **sky,
    )
    assert [_turned(side, quarters) for side in before] == list(after)
    for side, row in before.items():
        again = after[_turned(side, quarters)]
        assert (row.turn, row.why, row.neighbour) == (again.turn, again.why, again.neighbour)
        assert row.leave_swaths == again.leave_swaths


def _turned(side: str, quarters: int) -> str:
    return SIDES[(SIDES.index(side) + quarters) % 4]


def test_why_a_side_waits_goes_from_nobody_to_unknown_and_each_is_another_reason() -> None:
    """The gravest of several decides, and up to calm air a side may be sprayed."""
    assert len(set(Why)) == 9
    may_be_sprayed = [why for why in Why if why <= Why.CALM]
    assert may_be_sprayed == [Why.NOBODY, Why.AWAY, Why.CALM]
    graver = [Why.TOO_MUCH, Why.DOWNWIND, Why.NOT_CALM, Why.NO_SPRAY, Why.STILL, Why.UNKNOWN]
    assert sorted(graver) == graver
    assert Turn.FIRST < Turn.ANY_TIME < Turn.LEAVE
