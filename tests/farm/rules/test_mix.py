"""A tank of several products: every label binds."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from watcher.farm.droplets import DropletClass
from watcher.farm.rules.buffers import Buffer, Proven, largest_m
from watcher.farm.rules.kinds import Rule
from watcher.farm.rules.mix import (
    BufferOf,
    Mix,
    Reading,
    RuleOf,
    Span,
    brought_by,
    gusts_count,
    heights,
    mix,
)

MPH, FT, GPA, IN = 0.44704, 0.3048, 9.353956, 0.0254
RULES: TypeAdapter[Rule] = TypeAdapter(Rule)


def rule(kind: str, **keys: Any) -> Rule:
    return RULES.validate_python({"kind": kind} | keys)


def tank(**products: list[Rule]) -> Mix:
    return mix([RuleOf(name, r) for name, rules in products.items() for r in rules])


def wind(low: str | None, high: str, **keys: Any) -> Rule:
    return rule("wind", high=high, **({"low": low} if low else {}), **keys)


BOOM = {"height": "boom", "gusts": "not counted"}


def test_two_products_leave_what_both_allow() -> None:
    a = [wind("3 mph", "10 mph", **BOOM), rule("droplets", finest="medium")]
    b = [
        wind(None, "15 mph", **BOOM),
        rule("droplets", finest="coarse"),
        rule("carrier", least="15 gal/acre"),
        rule("boom height", most="24 in"),
    ]
    both = tank(a=a, b=b)
    assert both.contradictions == ()
    left = both.winds["boom"]
    assert (left.low, left.high) == (pytest.approx(3 * MPH), pytest.approx(10 * MPH))
    assert both.droplets.low == DropletClass.COARSE
    assert both.carrier_l_ha.low == pytest.approx(15 * GPA)
    assert both.boom_height_m.high == pytest.approx(24 * IN)
    buffers = [Buffer(protects=("water",), base=m) for m in ("10 ft", "30 ft")]
    assert largest_m(buffers, Proven()) == pytest.approx(30 * FT)


def test_droplets_with_nothing_between_are_refused_and_both_labels_named() -> None:
    found = tank(
        a=[rule("droplets", coarsest="medium")], b=[rule("droplets", finest="coarse")]
    ).contradictions
    assert [{c.one, c.other} for c in found] == [{"a", "b"}]
    assert "coarse" in str(found[0].what)
    assert "medium" in str(found[0].what)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (wind("12 mph", "15 mph", **BOOM), wind("3 mph", "10 mph", **BOOM)),
        (wind("12 mph", "15 mph", **BOOM), wind(None, "19 km/h", height="10 m")),
        (rule("carrier", least="20 gal/acre"), rule("carrier", most="15 gal/acre")),
        (rule("temperature", low="30 degC"), rule("temperature", high="25 degC")),
        (rule("humidity", low="60 %"), rule("humidity", high="50 %")),
        (rule("Delta T", low="6 K"), rule("Delta T", high="4 K")),
        (
            rule("dates", first=date(2026, 7, 1)),
            rule("dates", last=date(2026, 6, 30)),
        ),
        (
            rule("nozzles", nozzles=[{"name": "x"}], seen_on=date(2026, 3, 1)),
            rule("nozzles", nozzles=[{"name": "y"}], seen_on=date(2026, 3, 1)),
        ),
        (
            rule("nozzles", nozzles=[{"name": "x", "most": "2 bar"}], seen_on=date(2026, 3, 1)),
            rule("nozzles", nozzles=[{"name": "x", "least": "3 bar"}], seen_on=date(2026, 3, 1)),
        ),
        (rule("additive", additive="oil"), rule("additive", additive="oil", needed="barred")),
    ],
    ids=lambda r: r.kind,
)
def test_what_leaves_nothing_is_refused_in_either_order(one: Rule, other: Rule) -> None:
    for products in ({"a": [one], "b": [other]}, {"b": [other], "a": [one]}):
        assert [{c.one, c.other} for c in tank(**products).contradictions] == [{"a", "b"}]


LISTED = {"seen_on": date(2026, 3, 1)}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (wind("10 mph", "15 mph", **BOOM), wind("3 mph", "10 mph", **BOOM)),
        (wind("10 mph", "15 mph", **BOOM), wind(None, "10 mph", height="10 m")),
        # Above what is asked for at 2 m, at which nobody says how much the boom has.
        (wind("12 mph", "15 mph", **BOOM), wind(None, "10 mph", height="2 m")),
        (rule("carrier", least="15 gal/acre"), rule("carrier", most="15 gal/acre")),
        (rule("droplets", finest="medium"), rule("droplets", coarsest="medium")),
        (rule("temperature", low="25 degC"), rule("temperature", high="25 degC")),
        (rule("dates", first=date(2026, 7, 1)), rule("dates", last=date(2026, 7, 1))),
        (rule("dates", first=date(2026, 7, 1)), rule("dates", first=date(2026, 8, 1))),
        (
            rule("dates", first=date(2026, 7, 1)),
            rule("dates", last=date(2026, 6, 1), means="closed"),
        ),
        (
            rule("nozzles", nozzles=[{"name": "x"}, {"name": "y"}], **LISTED),
            rule("nozzles", nozzles=[{"name": "y"}, {"name": "z"}], **LISTED),
        ),
        (
            rule("nozzles", nozzles=[{"name": "x", "most": "3 bar"}], **LISTED),
            rule("nozzles", nozzles=[{"name": "x", "least": "3 bar"}], **LISTED),
        ),
        (rule("additive", additive="oil"), rule("additive", additive="salt", needed="barred")),
    ],
    ids=lambda r: r.kind,
)
def test_rules_that_meet_at_their_bounds_leave_something(one: Rule, other: Rule) -> None:
    assert tank(a=[one], b=[other]).contradictions == ()
    assert tank(b=[other], a=[one]).contradictions == ()
    assert tank(a=[one]).contradictions == tank(b=[other]).contradictions == ()


def test_the_stricter_of_two_bounds_stands_and_is_named_whatever_the_names() -> None:
    for strict, loose in (("a", "b"), ("b", "a")):
        left = tank(
            **{
                strict: [
                    rule("carrier", least="150 L/ha", most="200 L/ha"),
                    wind("3 m/s", "5 m/s", **BOOM),
                    rule("speed", most="2 m/s"),
                ],
                loose: [
                    rule("carrier", least="100 L/ha", most="300 L/ha"),
                    wind("2 m/s", "6 m/s", **BOOM),
                    rule("speed", most="3 m/s"),
                ],
            }
        )
        assert left.carrier_l_ha == Span(150, 200, strict, strict)
        assert left.winds["boom"] == Span(3, 5, strict, strict)
        assert left.speed_m_s == Span(high=2, high_of=strict)


def test_of_equal_bounds_the_first_that_says_it_is_named() -> None:
    same = [wind("3 m/s", "5 m/s", **BOOM), rule("carrier", least="150 L/ha", most="200 L/ha")]
    left = tank(b=same, a=same)
    for span in (left.carrier_l_ha, left.winds["boom"]):
        assert (span.low_of, span.high_of) == ("b", "b")


def test_dates_that_leave_nothing_are_told_by_the_latest_start_and_the_earliest_end() -> None:
    def days(first: int, last: int) -> Rule:
        return rule("dates", first=date(2026, first, 1), last=date(2026, last, 1))

    [found] = tank(b=[days(3, 5)], a=[days(4, 9)], d=[days(2, 3)], c=[days(1, 6)]).contradictions
    assert (found.one, found.other) == ("a", "d")
    assert str(found.what) == "dates: not before 2026-04-01, not after 2026-03-01"


def test_nozzles_are_those_of_every_list_at_the_pressures_of_all() -> None:
    nozzles = [
        [{"name": "x", "least": "2 bar", "most": "5 bar"}, {"name": "y"}, {"name": "z"}],
        [{"name": "z", "most": "4 bar"}, {"name": "x", "least": "3 bar", "most": "6 bar"}],
    ]
    one, other = (rule("nozzles", nozzles=found, **LISTED) for found in nozzles)
    kept = tank(a=[one], b=[other]).nozzles
    assert kept is not None
    assert [(n.name, n.least, n.most) for n in kept] == [("x", 3e5, 5e5), ("z", None, 4e5)]
    assert tank(a=[rule("carrier", least="100 L/ha")]).nozzles is None


def test_a_third_list_is_not_told_once_nothing_is_left() -> None:
    lists = [rule("nozzles", nozzles=[{"name": name}], **LISTED) for name in "xyz"]
    [found] = tank(a=[lists[0]], b=[lists[1]], c=[lists[2]]).contradictions
    assert (found.one, found.other) == ("a", "b")


def test_what_is_required_goes_in_and_what_is_barred_does_not() -> None:
    rules = [
        rule("additive", additive="oil"),
        rule("additive", additive="salt", needed="barred"),
    ]
    assert tank(a=rules).additives == {"oil"}


def test_a_rule_that_shuts_itself_names_itself_twice() -> None:
    (found,) = tank(a=[wind("10 mph", "3 mph", **BOOM)]).contradictions
    assert (found.one, found.other) == ("a", "a")


def test_advice_narrows_nothing_and_stands_apart() -> None:
    advice = rule("droplets", finest="coarse", force="advice")
    mixed = tank(a=[rule("droplets", coarsest="medium")], b=[advice])
    assert mixed.contradictions == ()
    assert mixed.droplets.low == -float("inf")
    assert [r.rule for r in mixed.advice] == [advice]
    assert advice not in [r.rule for r in mixed.rules]


def test_a_rule_counts_on_the_days_it_is_valid() -> None:
    old = rule("droplets", finest="coarse", valid_until=date(2026, 6, 30))
    rules = [RuleOf("a", old)]
    assert mix(rules, on=date(2026, 6, 30)).droplets.low == DropletClass.COARSE
    assert mix(rules, on=date(2026, 7, 1)).rules == ()
    new = Buffer(protects=("water",), base="5 m", valid_from=date(2026, 7, 1))
    buffers = [BufferOf("a", new)]
    assert mix([], buffers, on=date(2026, 6, 30)).buffers == ()
    assert mix([], buffers, on=date(2026, 7, 1)).buffers == tuple(buffers)
    assert mix([], buffers).buffers == tuple(buffers)


class TestStricterReadings:
    def test_what_a_wind_rule_leaves_open_is_told(self) -> None:
        notes = {n.reading for n in tank(a=[wind("3 mph", "10 mph")]).notes}
        assert notes == {Reading.GUSTS, Reading.HEIGHT}

    def test_what_it_says_is_not(self) -> None:
        assert tank(a=[wind("3 mph", "10 mph", **BOOM)]).notes == ()

    def test_height_unstated_is_ten_metres_for_the_high_bound_and_the_boom_for_the_low(
        self,
    ) -> None:
        winds = tank(a=[wind("3 mph", "10 mph")]).winds
        assert winds["10 m"].high == pytest.approx(10 * MPH)
        assert winds["boom"].low == pytest.approx(3 * MPH)

    @pytest.mark.parametrize(
        ("expected", "reading"),
        [
            (rule("rain ahead", within="48 h"), Reading.AMOUNT),
            (rule("direction", towards=["vines"]), Reading.ADJACENT),
            (rule("inversion", effect="duty"), Reading.INVERSION),
        ],
        ids=lambda r: str(r)[:12],
    )
    def test_what_must_not_be_guessed(self, expected: Rule, reading: Reading) -> None:
        assert [n.reading for n in tank(a=[expected]).notes] == [reading]

    @pytest.mark.parametrize(
        "expected",
        [
            wind("3 mph", "10 mph", height="10 m", gusts="counted"),
            rule("wind", low="3 mph", height="boom"),  # a gust breaks no low bound
            rule("rain ahead", within="48 h", amount="6 mm"),
            rule("rain ahead", within="48 h", chance="40 %"),
            rule("direction", towards=["vines"], nearness="100 m"),
            rule("inversion"),
        ],
        ids=lambda r: str(r)[:40],
    )
    def test_what_is_said_is_not_noted(self, expected: Rule) -> None:
        assert tank(a=[expected]).notes == ()

    def test_only_an_unstated_height_is_noted_of_a_low_bound(self) -> None:
        notes = tank(a=[rule("wind", low="3 mph")]).notes
        assert [n.reading for n in notes] == [Reading.HEIGHT]

    @pytest.mark.parametrize(
        ("height", "bounds"),
        [
            ("boom", {"low": None, "high": None}),
            ("2 m", {"low": 2.0, "high": 2.0}),
            ("unstated", {"low": None, "high": 10.0}),
        ],
    )
    def test_each_bound_has_its_height(self, height: str, bounds: dict[str, float | None]) -> None:
        assert heights(wind("3 mph", "10 mph", height=height)) == bounds

    @pytest.mark.parametrize(
        ("gusts", "count"), [("counted", True), ("unstated", True), ("not counted", False)]
    )
    def test_gusts_count_where_nobody_says_otherwise(self, gusts: str, count: bool) -> None:
        assert gusts_count(wind(None, "10 mph", gusts=gusts)) is count

    def test_land_inside_a_buffer_that_is_named(self) -> None:
        found = BufferOf("a", Buffer(protects=("water",), base="5 m", inside=("road",)))
        assert mix([], [found]).notes == ()

    def test_land_inside_a_buffer(self) -> None:
        found = BufferOf("a", Buffer(protects=("water",), base="5 m"))
        assert [n.reading for n in mix([], [found]).notes] == [Reading.INSIDE]


classes = st.sampled_from([c.words for c in DropletClass])
any_rule = st.one_of(
    st.builds(
        lambda c, f: rule("droplets", finest=c, force=f),
        classes,
        st.sampled_from(["ban", "advice"]),
    ),
    st.builds(lambda c: rule("droplets", coarsest=c), classes),
    st.builds(
        lambda low, high, height: wind(f"{low} m/s", f"{high} m/s", height=height),
        st.integers(0, 8),
        st.integers(0, 12),
        st.sampled_from(["boom", "unstated", "2 m", "10 m"]),
    ),
    st.builds(lambda n: rule("carrier", least=f"{n} L/ha"), st.integers(20, 400)),
    st.builds(lambda n: rule("carrier", most=f"{n} L/ha"), st.integers(20, 400)),
    st.builds(lambda n: rule("boom height", most=f"{n} cm"), st.integers(20, 200)),
    st.builds(lambda n: rule("temperature", high=f"{n} degC"), st.integers(5, 40)),
    st.builds(
        lambda name, needed: rule("additive", additive=name, needed=needed),
        st.sampled_from(["oil", "salt"]),
        st.sampled_from(["required", "barred"]),
    ),
)


@given(st.lists(any_rule, max_size=5), st.lists(any_rule, max_size=3))
def test_adding_a_product_never_widens(first: list[Rule], more: list[Rule]) -> None:
    alone, both = tank(a=first), tank(a=first, b=more)
    for spans in (
        [(alone.droplets, both.droplets)],
        [(alone.carrier_l_ha, both.carrier_l_ha)],
        [(alone.boom_height_m, both.boom_height_m)],
        [(span, both.winds[where]) for where, span in alone.winds.items()],
    ):
        for before, after in spans:
            assert after.low >= before.low
            assert after.high <= before.high
    assert both.additives >= alone.additives
    assert len(both.contradictions) >= len(alone.contradictions)


@pytest.mark.parametrize(
    ("one", "other", "wanted"),
    [
        (
            rule("humidity", low="60 %"),
            rule("humidity", high="50 %"),
            "humidity: at least 60%, at most 50%",
        ),
        (
            rule("temperature", low="25 degC"),
            rule("temperature", high="20 degC"),
            "temperature: at least 25.0 °C, at most 20.0 °C",
        ),
        (
            wind("12 km/h", "30 km/h", **BOOM),
            wind(None, "10 km/h", height="10 m"),
            "wind: at least 12.0 km/h at the boom, at most 10.0 km/h at 10 m",
        ),
        (
            wind("12 km/h", "30 km/h", height="2 m"),
            wind(None, "10 km/h", height="2 m"),
            "wind at 2 m: at least 12.0 km/h, at most 10.0 km/h",
        ),
    ],
)
def test_a_contradiction_says_what_is_left(one: Rule, other: Rule, wanted: str) -> None:
    [found] = tank(a=[one], b=[other]).contradictions
    assert str(found.what) == wanted
    assert (found.one, found.other) == ("a", "b")


@pytest.mark.parametrize(
    ("of", "words"),
    [
        ("product contact_a", "product contact a"),
        ("window contact", "window contact"),
        ("preset FR wind and rain", "preset FR wind and rain"),
        ("neighbour orchard", "neighbour orchard"),
        ("lore", "lore"),
    ],
)
def test_who_brings_a_rule_is_told_in_words(of: str, words: str) -> None:
    assert str(brought_by(of)) == words


@pytest.mark.parametrize(
    ("system", "wanted"),
    [
        ("us", "wind at the boom: at least 12.0 mph, at most 10.0 mph"),
        ("metric", "wind at the boom: at least 19.3 km/h, at most 16.1 km/h"),
    ],
)
def test_a_contradiction_is_told_in_the_farm_s_units(system: Any, wanted: str) -> None:
    rules = [RuleOf("product a", wind("12 mph", "10 mph", height="boom"))]
    [found] = mix(rules, system=system).contradictions
    assert str(found.what) == wanted
