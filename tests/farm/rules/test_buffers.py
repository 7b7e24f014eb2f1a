"""Buffers: the worked ones, and what must hold for any of them."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from watcher.farm.droplets import DropletClass
from watcher.farm.rules.buffers import (
    Buffer,
    Proven,
    arithmetic,
    downwind_edges,
    gap_counted_m,
    largest_m,
    required_m,
    strip,
)

FT = 0.3048
BOOM = 90 * FT
NESW = (0.0, 90.0, 180.0, 270.0)
MENU = [
    {"needs": ["hood"], "percent": "50 %"},
    {"needs": ["adjuvant", "medium drops"], "percent": "30 %"},
    {"needs": ["windbreak"], "percent": "30 %"},
]


def buffer(**keys: Any) -> Buffer:
    return Buffer.model_validate({"protects": ["water"]} | keys)


def menu(base: str) -> Buffer:
    inside = ["road", "mowed ditch"]
    return buffer(base=base, reductions=MENU, combine="add and cap", inside=inside)


class TestAMenuOfPercents:
    def test_road_and_mowed_ditch_count_and_the_rest_is_left(self) -> None:
        gap = gap_counted_m(menu("240 ft"), 60 * FT, ["road", "mowed ditch"])
        left = strip(required=240 * FT, gap=gap, boom_width=BOOM)
        assert left.depth_m == pytest.approx(180 * FT)
        assert left.passes == 2
        assert downwind_edges(NESW, wind_from_deg=270.0) == (False, True, False, False)

    def test_a_hood_halves_it(self) -> None:
        needed = required_m(menu("240 ft"), Proven(measures={"hood"}))
        assert needed == pytest.approx(120 * FT)
        left = strip(required=120 * FT, gap=60 * FT, boom_width=BOOM)
        assert (left.depth_m, left.passes) == (pytest.approx(60 * FT), 1)

    def test_percents_are_added_not_multiplied(self) -> None:
        proven = Proven(measures={"hood", "adjuvant", "medium drops"})
        assert required_m(menu("50 ft"), proven) == pytest.approx(10 * FT)

    def test_half_of_a_condition_takes_nothing_off(self) -> None:
        assert required_m(menu("50 ft"), Proven(measures={"adjuvant"})) == pytest.approx(50 * FT)

    def test_more_than_all_of_it_is_all_of_it(self) -> None:
        proven = Proven(measures={"hood", "adjuvant", "medium drops", "windbreak"})
        assert required_m(menu("100 ft"), proven) == 0.0


def test_an_oblique_wind_leaves_through_two_edges() -> None:
    assert downwind_edges(NESW, wind_from_deg=315.0) == (False, True, True, False)
    assert downwind_edges(NESW, wind_from_deg=315.0, swing_deg=30.0) == (False, True, True, False)


@pytest.mark.parametrize(
    ("outward", "swing", "through"),
    [
        (90.0, 0.0, True),
        (0.5, 0.0, True),
        (179.5, 0.0, True),
        (0.0, 0.0, False),  # the wind blows along it
        (180.0, 0.0, False),
        (359.5, 0.0, False),
        (331.0, 30.0, True),
        (329.0, 30.0, False),
        (209.0, 30.0, True),
        (211.0, 30.0, False),
        (270.0, 30.0, False),
    ],
)
def test_drift_leaves_through_what_faces_less_than_a_quarter_turn_from_the_wind(
    outward: float, swing: float, through: bool
) -> None:
    assert downwind_edges([outward], wind_from_deg=270.0, swing_deg=swing) == (through,)
    # However the farm is turned.
    turned = downwind_edges([(outward + 200.0) % 360.0], wind_from_deg=110.0, swing_deg=swing)
    assert turned == (through,)


def test_without_a_swing_of_the_wind_none_is_counted() -> None:
    assert downwind_edges([359.5], wind_from_deg=270.0) == (False,)


LERAP_B_ROWS = [
    {"base": "5 m"},
    {"base": "3 m", "water_least": "3 m"},
    {"base": "2 m", "water_least": "6.01 m"},
    {"base": "4 m", "dose_most": "75 %"},
    {"base": "2 m", "dose_most": "75 %", "water_least": "3 m"},
    {"base": "2 m", "dose_most": "50 %"},
    {"base": "1 m", "dose_most": "50 %", "water_least": "3 m"},
    {"base": "1 m", "dose_most": "25 %"},
    {"base": "1 m", "needs": ["dry"]},
]
LERAP_B = {
    "table": LERAP_B_ROWS,
    "sides": "along water",
    "sensitive_line": "top of bank",
    "reductions": [{"needs": ["3 stars"], "to": "1 m"}],
    "combine": "replace",
}


class TestAlongWater:
    def test_three_stars_bring_a_table_to_one_metre(self) -> None:
        proven = Proven(measures={"3 stars"}, water_width_m=4.0, dose_share_pct=100.0)
        assert required_m(buffer(**LERAP_B), proven) == 1.0

    def test_without_stars_the_row_of_dose_and_width_counts(self) -> None:
        full = Proven(water_width_m=4.0, dose_share_pct=100.0)
        assert required_m(buffer(**LERAP_B), full) == 3.0
        just = Proven(water_width_m=3.0, dose_share_pct=100.0)
        assert required_m(buffer(**LERAP_B), just) == 3.0
        assert required_m(buffer(**LERAP_B), Proven()) == 5.0

    def test_what_nothing_reduces_stays(self) -> None:
        fixed = buffer(base="5 m", reductions=[{"needs": ["3 stars"], "to": "1 m"}], combine="none")
        assert required_m(fixed, Proven(measures={"3 stars"})) == 5.0
        twelve = buffer(base="12 m", sides="along water")
        assert required_m(twelve, Proven(measures={"3 stars"})) == 12.0

    def test_a_dose_at_the_edge_of_its_band(self) -> None:
        narrow = {"water_width_m": 2.0}
        assert required_m(buffer(**LERAP_B), Proven(dose_share_pct=25.0, **narrow)) == 1.0
        assert required_m(buffer(**LERAP_B), Proven(dose_share_pct=25.1, **narrow)) == 2.0

    def test_a_ditch_that_is_said_to_be_dry(self) -> None:
        assert required_m(buffer(**LERAP_B), Proven(beside={"dry"}, dose_share_pct=100.0)) == 1.0

    def test_both_conditions_together_or_none(self) -> None:
        both = [
            {"needs": ["5 m grass"], "to": "5 m"},
            {"needs": ["approved nozzles"], "to": "5 m"},
        ]
        water = buffer(base="20 m", sides="all round", reductions=both, combine="all together")
        assert required_m(water, Proven(measures={"5 m grass", "approved nozzles"})) == 5.0
        assert required_m(water, Proven(measures={"approved nozzles"})) == 20.0


@pytest.mark.parametrize(
    ("combine", "measures", "metres"),
    [
        ("replace", {"a"}, 30.0),
        ("replace", {"a", "b"}, 20.0),
        ("replace", {"c"}, 12.0),
        ("replace", {"a", "b", "c"}, 12.0),
        ("add and cap", {"a", "b"}, 10.0),
        ("add and cap", {"c"}, 40.0),  # a distance is no percent
        ("add and cap", {"a", "c"}, 30.0),
        ("replace", {"d"}, 40.0),
        ("all together", {"a", "b"}, 40.0),
        ("all together", {"a", "b", "c", "d"}, 12.0),
        ("none", {"a", "b", "c"}, 40.0),
    ],
)
def test_how_percents_and_distances_go_together(
    combine: str, measures: set[str], metres: float
) -> None:
    reductions = [
        {"needs": ["a"], "percent": "25 %"},
        {"needs": ["b"], "percent": "50 %"},
        {"needs": ["c"], "to": "12 m"},
        {"needs": ["d"]},
    ]
    forty = buffer(base="40 m", reductions=reductions, combine=combine)
    assert required_m(forty, Proven(measures=measures)) == pytest.approx(metres)


def test_together_without_any_reduction_is_the_distance_itself() -> None:
    assert required_m(buffer(base="40 m", combine="all together"), Proven()) == 40.0


def test_only_the_reductions_that_change_it_are_told() -> None:
    said = [{"needs": ["a"], "percent": "0 %"}, {"needs": ["b"], "percent": "25 %"}]
    forty = buffer(base="40 m", reductions=said, combine="add and cap")
    assert arithmetic(forty, Proven(measures={"a"})).reduced_by == ()
    found = arithmetic(forty, Proven(measures={"b"}))
    assert found.reduced_by == forty.reductions[1:]
    assert (found.base_m, found.required_m) == (40.0, 30.0)


def test_a_minimum_stands_and_makes_no_buffer_larger() -> None:
    found = [{"needs": ["a"], "percent": "90 %"}]
    keys = {"reductions": found, "combine": "add and cap", "floor": "10 m"}
    assert required_m(buffer(base="40 m", **keys), Proven(measures={"a"})) == 10.0
    assert required_m(buffer(base="5 m", **keys), Proven(measures={"a"})) == 5.0


@pytest.mark.parametrize(
    ("base", "good"), [("0 m", True), ("0.5 m", True), ("10 km", True), ("10.1 km", False)]
)
def test_a_distance_is_believed_up_to_ten_kilometres(base: str, good: bool) -> None:
    if good:
        assert buffer(base=base).base is not None
        return
    with pytest.raises(ValidationError):
        buffer(base=base)


def test_no_buffer_asks_for_nothing() -> None:
    assert largest_m([], Proven()) == 0.0


def test_residents() -> None:
    reduction = {
        "needs": ["charter", "approved nozzles"],
        "to": "3 m",
        "not_beside": ["vulnerable people"],
    }
    low_crop = buffer(base="5 m", sides="all round", reductions=[reduction], combine="replace")
    kit = {"charter", "approved nozzles"}
    assert required_m(low_crop, Proven(measures=kit)) == 3.0
    assert required_m(low_crop, Proven(measures=kit, beside={"vulnerable people"})) == 5.0
    assert required_m(low_crop, Proven(measures=kit, beside={"a road"})) == 3.0
    worst = buffer(base="20 m", sides="all round")
    assert largest_m([low_crop, worst], Proven(measures=kit)) == 20.0


def test_product_and_general_rule_each_after_their_own_reductions() -> None:
    product = buffer(
        table=[
            {"base": "15 m", "drift_class": "50 %"},
            {"base": "10 m", "drift_class": "75 %"},
            {"base": "5 m", "drift_class": "90 %"},
        ]
    )
    general = buffer(
        base="10 m", reductions=[{"needs": ["permanent grass"], "to": "5 m"}], combine="replace"
    )
    assert largest_m([product, general], Proven(drift_class_pct=90.0)) == 10.0
    grass = Proven(drift_class_pct=90.0, measures={"permanent grass"})
    assert largest_m([product, general], grass) == 5.0
    assert largest_m([product, general], Proven()) is None


@pytest.mark.parametrize(("kit", "metres"), [(75.0, 1.5), (90.0, 1.0), (50.0, None), (None, None)])
def test_a_class_that_is_not_in_the_table_may_not_spray(
    kit: float | None, metres: float | None
) -> None:
    rows = [
        {"base": "150 cm", "drift_class": "75 %"},
        {"base": "100 cm", "drift_class": "90 %"},
    ]
    assert required_m(buffer(table=rows), Proven(drift_class_pct=kit)) == metres


def test_of_partners_and_by_law_the_largest_counts() -> None:
    a, b, by_law = (buffer(base=m) for m in ("3 m", "15 m", "10 m"))
    assert largest_m([a, b, by_law], Proven()) == 15.0
    assert largest_m([buffer(base="4 m"), by_law], Proven()) == 10.0


def test_a_row_by_droplets_and_boom() -> None:
    row = {"base": "30 m", "finest": "coarse", "boom_height_most": "0.5 m"}
    fits = Proven(droplets=DropletClass.COARSE, boom_height_m=0.5)
    assert required_m(buffer(table=[row]), fits) == 30.0
    fine = Proven(droplets=DropletClass.MEDIUM, boom_height_m=0.5)
    assert required_m(buffer(table=[row]), fine) is None


class TestAListedNozzle:
    LISTED = buffer(
        base="100 ft",
        reductions=[{"needs": ["listed nozzle"], "percent": "50 %", "pressure_most": "3 bar"}],
        combine="add and cap",
    )

    @pytest.mark.parametrize(
        ("pressure_pa", "feet"), [(3e5, 50.0), (4e5, 100.0), (None, 100.0)], ids=str
    )
    def test_counts_up_to_its_pressure(self, pressure_pa: float | None, feet: float) -> None:
        proven = Proven(measures={"listed nozzle"}, pressure_pa=pressure_pa)
        assert required_m(self.LISTED, proven) == pytest.approx(feet * FT)

    def test_what_is_left_inside_the_field(self) -> None:
        left = strip(required=50 * FT, gap=40 * FT, boom_width=BOOM)
        assert left.depth_m == pytest.approx(10 * FT)


class TestWhatMayLieInside:
    def test_land_that_is_not_named_does_not_count(self) -> None:
        assert gap_counted_m(menu("240 ft"), 18.0, ["road", "hay"]) == 0.0

    def test_land_nobody_told_of_does_not_count(self) -> None:
        assert gap_counted_m(menu("240 ft"), 18.0, None) == 0.0
        assert gap_counted_m(buffer(base="5 m"), 18.0, ["road"]) == 0.0
        assert gap_counted_m(buffer(base="5 m"), 18.0, []) == 0.0

    def test_land_that_is_named_counts_and_so_does_none(self) -> None:
        assert gap_counted_m(menu("240 ft"), 18.0, ["road"]) == 18.0
        assert gap_counted_m(menu("240 ft"), 18.0, []) == 18.0

    def test_anything_counts_where_the_text_says_so(self) -> None:
        assert gap_counted_m(buffer(base="5 m", inside="anything"), 18.0, None) == 18.0


measures = st.frozensets(st.sampled_from(["a", "b", "c", "d"]))
reductions = st.lists(
    st.builds(
        lambda needs, percent, to: {"needs": sorted(needs), "percent": percent, "to": to},
        st.frozensets(st.sampled_from(["a", "b", "c", "d"]), min_size=1),
        st.none() | st.integers(0, 100).map("{} %".format),
        st.none() | st.integers(0, 500).map("{} m".format),
    ),
    max_size=4,
)
schemes = st.builds(
    lambda base, measures, how, floor: buffer(
        base=f"{base} m", reductions=measures, combine=how, floor=f"{floor} m"
    ),
    st.integers(0, 400),
    reductions,
    st.sampled_from(["add and cap", "replace", "all together", "none"]),
    st.integers(0, 50),
)


@given(schemes, measures)
def test_no_reduction_makes_a_buffer_negative_or_larger(scheme: Buffer, measures: set[str]) -> None:
    needed = required_m(scheme, Proven(measures=measures))
    assert needed is not None
    assert scheme.base is not None
    assert min(scheme.floor, scheme.base) <= needed <= scheme.base


@given(schemes, measures, measures)
def test_proving_more_never_widens_a_buffer(scheme: Buffer, one: set[str], more: set[str]) -> None:
    little, much = (required_m(scheme, Proven(measures=found)) for found in (one, one | more))
    assert little is not None
    assert much is not None
    assert much <= little


@given(st.lists(schemes, max_size=4), schemes, measures)
def test_another_product_never_makes_a_buffer_smaller(
    mix: list[Buffer], other: Buffer, measures: set[str]
) -> None:
    proven = Proven(measures=measures)
    without, with_it = largest_m(mix, proven), largest_m([*mix, other], proven)
    assert without is not None
    assert with_it is not None
    assert with_it >= without


@pytest.mark.parametrize(
    ("required", "gap", "depth", "passes"),
    [(5.0, 10.0, 0.0, 0), (10.0, 10.0, 0.0, 0), (10.5, 10.0, 0.5, 1), (60.0, 10.0, 50.0, 2),
     (60.1, 10.0, 50.1, 3)],
)  # fmt: skip
def test_what_the_gap_leaves_is_whole_passes_of_the_boom(
    required: float, gap: float, depth: float, passes: int
) -> None:
    left = strip(required=required, gap=gap, boom_width=25.0)
    assert (left.depth_m, left.passes) == (pytest.approx(depth), passes)


@given(st.floats(0, 500), st.floats(0, 500), st.floats(1, 60))
def test_a_strip_is_never_negative_and_its_passes_cover_it(
    required: float, gap: float, boom: float
) -> None:
    left = strip(required=required, gap=gap, boom_width=boom)
    assert left.depth_m >= 0
    assert left.passes * boom >= left.depth_m - 1e-3
