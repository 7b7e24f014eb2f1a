"""Remedies: each is within the limits when judged with the change, and none claims more."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.judgement import Judgement, judge
from watcher.judge.ranking import rank
from watcher.judge.remedies import (
    Case,
    Change,
    ChangeKind,
    Remedy,
    _handling,
    _Rig,
    _slower,
    remedies,
)
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.status import Status
from watcher.weather.series import WeatherSeries

law = settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
HOURS, NOW = 10, 1


@dataclass(frozen=True)
class Look:
    series: WeatherSeries
    fields: tuple[str, ...] = ()
    wind_uncertainty_m_s: float = 0.0
    expects: Mapping[str, Bools] = field(default_factory=dict)


def tables() -> dict[str, Any]:
    """The worked farm with everything that may be changed on its sprayer."""
    config = farm_tables()
    config["fields"] = {name: config["fields"][name] for name in "CK"}
    del config["neighbours"]["vines_S"]
    config["sprayers"]["boom"] |= {
        "tips": ["fine15", "coarse15"],
        "tips_turned_in": "5 min",
        "lowest_boom": "0.4 m",
        "slowest": "8 mph",
    }
    config["setups"]["medium15"] = {
        "sprayer": "boom",
        "nozzle": "pre-orifice",
        "droplets": "medium",
        "carrier": "15 gal/acre",
    }
    config["products"] = {
        name: {
            "name": name,
            "registration": "none",
            "retardant": {"kind": kind, "most": "8 fl oz/acre"},
        }
        for name, kind in (("agent", "other"), ("sheared", "polyacrylamide"))
    }
    return config


def plan_of(given: dict[str, Any]) -> FarmArrays:
    return FarmArrays.of(build_farm(given))


def case_of(
    given: dict[str, Any], series: WeatherSeries, name: str = "K", setup: str = "fine15"
) -> Case:
    plan = plan_of(given)
    judgement = judge(plan, series)
    at = plan.fields.index(name), plan.setups.index(setup), NOW
    return Case(judgement, Look(series), at, left_s=2400.0, ranking=rank(judgement, NOW))


def kinds(remedy: Remedy) -> tuple[ChangeKind, ...]:
    return tuple(change.kind for change in remedy.changes)


def changed(config: dict[str, Any], setup: str, remedy: Remedy) -> tuple[dict[str, Any], str]:
    """The farm file with a remedy's changes written in by hand, and the setup then used."""
    config = config | {"sprayers": {"boom": dict(config["sprayers"]["boom"])}}
    config["setups"] = {name: dict(entry) for name, entry in config["setups"].items()}
    for change in remedy.changes:
        if change.kind is ChangeKind.TIPS:
            setup = change.name
    for change in remedy.changes:
        match change.kind:
            case ChangeKind.BOOM:
                config["sprayers"]["boom"]["boom_height"] = f"{change.value} m"
            case ChangeKind.SLOWER:
                config["sprayers"]["boom"]["speed"] = f"{change.value} m/s"
            case ChangeKind.RETARDANT:
                kind = config["products"][change.name]["retardant"]["kind"]
                config["setups"][setup]["adjuvant"] = kind
    return config, setup


def stands(judgement: Judgement, setup: str, remedy: Remedy, name: str = "K") -> np.ndarray:
    """Statuses of the moments from now until the remedy's end."""
    plan, times = judgement.plan, judgement.series.times
    moments = (times >= times[NOW]) & (times < remedy.until)
    instant = judgement.instant[plan.fields.index(name), plan.setups.index(setup)]
    return np.asarray(instant[moments])


winds = st.fixed_dictionaries(
    {
        "wind_mph": st.lists(st.floats(3, 11), min_size=HOURS, max_size=HOURS),
        "wind_from_deg": st.lists(st.floats(90, 270), min_size=HOURS, max_size=HOURS),
        "wind_spread_deg": st.floats(5, 25),
    }
)
tolerated = st.sampled_from(["0.05 %", "0.1 %", "0.3 %", "1 %"])
setups = st.sampled_from(["fine15", "medium15", "coarse15", "coarse7"])


@law
@given(sky=winds, most=tolerated, setup=setups)
def test_every_remedy_is_within_the_limits_when_judged_with_the_change(
    sky: dict[str, Any], most: str, setup: str
) -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": most}}}
    series = fair_weather(hours=HOURS, **sky)
    for remedy in remedies(case_of(config, series, setup=setup)):
        if set(kinds(remedy)) & {ChangeKind.STRIPS, ChangeKind.FIELD, ChangeKind.WAIT}:
            continue
        with_it, used = changed(config, setup, remedy)
        plan = replace(plan_of(with_it), pumped_min=30.0)
        assert (stands(judge(plan, series), used, remedy) >= Status.MARGINAL).all()


@law
@given(sky=winds, most=tolerated, setup=setups)
def test_waiting_and_another_field_are_within_the_limits_as_judged(
    sky: dict[str, Any], most: str, setup: str
) -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": most}}}
    case = case_of(config, fair_weather(hours=HOURS, **sky), setup=setup)
    for remedy in remedies(case):
        match kinds(remedy):
            case (ChangeKind.FIELD,):
                seen = stands(case.judgement, setup, remedy, remedy.changes[0].name)
                assert (seen >= Status.MARGINAL).all()
            case (ChangeKind.WAIT,):
                times = case.judgement.series.times
                then = (times >= remedy.changes[0].value) & (times < remedy.until)
                assert (case.judgement.instant[case.at[:2]][then] >= Status.MARGINAL).all()


@law
@given(sky=winds, most=tolerated, setup=setups)
def test_strips_are_enough_for_a_neighbour_that_lies_so_much_further_off(
    sky: dict[str, Any], most: str, setup: str
) -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": most}}}
    case = case_of(config, fair_weather(hours=HOURS, **sky), setup=setup)
    for remedy in remedies(case):
        if ChangeKind.STRIPS not in kinds(remedy):
            continue
        with_it, used = changed(config, setup, remedy)
        plan = plan_of(with_it)
        depth = remedy.changes[-1].passes * 27.432
        reach = replace(plan.reach, gap_m=plan.reach.gap_m + depth)
        seen = stands(judge(replace(plan, reach=reach), case.look.series), used, remedy)
        assert (seen >= Status.MARGINAL).all()
        assert 0.0 < remedy.left_share <= 0.5


@law
@given(
    sky=winds,
    most=tolerated,
    gone=st.sampled_from(["wind_m_s", "wind_from_deg", "temp_c", "humidity_pct"]),
    at=st.integers(NOW, HOURS - 1),
)
def test_no_remedy_holds_beyond_what_is_known(
    sky: dict[str, Any], most: str, gone: str, at: int
) -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": most}}}
    series = fair_weather(hours=HOURS, **sky)
    holed = getattr(series, gone).copy()
    holed[at] = np.nan
    found = remedies(case_of(config, series.having(**{gone: holed})))
    # A field beside nobody does not ask where the wind comes from.
    needs_none = {ChangeKind.WAIT} | ({ChangeKind.FIELD} if gone == "wind_from_deg" else set())
    for remedy in (r for r in found if not needs_none.intersection(kinds(r))):
        assert remedy.until <= series.times[at]


@law
@given(sky=winds, most=tolerated, setup=setups)
def test_renaming_changes_neither_remedies_nor_their_order(
    sky: dict[str, Any], most: str, setup: str
) -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": most}}}
    series = fair_weather(hours=HOURS, **sky)
    new = {"fine15": "z", "coarse15": "y", "coarse7": "x", "medium15": "w"}
    named = config | {"setups": {new[name]: entry for name, entry in config["setups"].items()}}
    named["sprayers"] = {"boom": config["sprayers"]["boom"] | {"tips": ["z", "y"]}}
    one = remedies(case_of(config, series, setup=setup))
    other = remedies(case_of(named, series, setup=new[setup]))

    def shape(found: Sequence[Remedy]) -> list[Any]:
        return [
            [(c.kind, new.get(c.name, c.name), c.value, c.passes) for c in r.changes]
            + [r.until, r.whole]
            for r in found
        ]

    renamed = [
        [(c.kind, c.name, c.value, c.passes) for c in r.changes] + [r.until, r.whole] for r in other
    ]
    assert repr(shape(one)) == repr(renamed)


def test_too_windy_for_the_label_nothing_helps_but_waiting_or_elsewhere() -> None:
    series = fair_weather(hours=HOURS, wind_mph=[10.2] * 5 + [5.0] * 5)
    found = remedies(case_of(tables(), series))
    assert [kinds(r) for r in found] == [(ChangeKind.WAIT,)]
    wait = found[0].changes[0]
    assert (wait.value, wait.takes_s) == (series.times[5], series.times[5] - series.times[NOW])


def towards(given: dict[str, Any], setup: str = "fine15") -> tuple[Remedy, ...]:
    """A calm wind to the vines, with which a fine spray drifts twice what they stand."""
    return remedies(
        case_of(given, fair_weather(hours=HOURS, wind_mph=4.5, wind_from_deg=180.0), setup=setup)
    )


def test_where_drift_stops_a_job_tips_and_strips_are_offered_with_their_price() -> None:
    found = {kinds(r): r for r in towards(tables()) if r.changes[0].name != "medium15"}
    tips = found[(ChangeKind.TIPS,)]
    assert tips.whole
    assert tips.takes_s == 300.0
    assert tips.drift_before > 1.0 >= tips.drift_after
    assert tips.loss_pct == pytest.approx(8.0)
    strips = found[(ChangeKind.STRIPS,)]
    assert strips.changes[0].neighbours == ("vines_K",)
    assert strips.drift_after <= 1.0


@pytest.mark.parametrize(("wind_mph", "passes"), [(4.0, 1), (4.5, 2)])
def test_no_wider_strip_is_left_than_it_takes(wind_mph: float, passes: int) -> None:
    sky = fair_weather(hours=HOURS, wind_mph=wind_mph, wind_from_deg=180.0)
    found = {kinds(r): r for r in remedies(case_of(tables(), sky))}
    strips = found[(ChangeKind.STRIPS,)]
    assert strips.changes[0].passes == passes
    assert strips.drift_after < 1.0


def test_a_holding_job_is_offered_nothing() -> None:
    assert remedies(case_of(tables(), fair_weather(hours=HOURS, wind_from_deg=0.0))) == ()


def test_tips_at_another_rate_than_the_tank_is_mixed_for_are_not_offered() -> None:
    names = {c.name for r in towards(tables()) for c in r.changes}
    assert "coarse15" in names
    assert "coarse7" not in names


def test_no_retardant_with_air_induction_and_a_worn_one_for_half_an_hour_at_most() -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": "0.187 %"}}}
    found = towards(config)
    added = [r for r in found if ChangeKind.RETARDANT in kinds(r)]
    assert added
    for remedy in added:
        names = {c.name for c in remedy.changes}
        assert "coarse15" not in names
        if "sheared" in names:
            assert remedy.until - fair_weather().times[NOW] <= 1800


def test_a_retardant_that_the_label_bars_is_not_offered() -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": "0.187 %"}}}
    barred = {"kind": "additive", "additive": "agent", "needed": "barred"}
    config["windows"]["contact"]["rules"] = [barred]
    assert "agent" not in {c.name for r in towards(config) for c in r.changes}


def test_a_label_that_bans_a_direction_is_cured_by_no_strip() -> None:
    config = tables()
    config["neighbours"]["vines_K"]["kinds"] = ["crop"]
    config["windows"]["contact"]["rules"] = [
        {"kind": "direction", "towards": ["crop"], "nearness": "100 m"}
    ]
    assert not any(ChangeKind.STRIPS in kinds(r) for r in towards(config))


def test_a_tank_of_another_mix_goes_to_no_other_field() -> None:
    config = tables()
    config["products"]["mine"] = {"name": "M", "registration": "1"}
    config["fields"]["K"]["products"] = ["mine"]
    assert not any(ChangeKind.FIELD in kinds(r) for r in towards(config))
    for entry in config["fields"].values():
        entry["products"] = ["mine"]
    assert any(ChangeKind.FIELD in kinds(r) for r in towards(config))


def test_what_holds_for_all_that_is_left_comes_first_then_what_costs_least() -> None:
    found = towards(tables())
    assert [r.whole for r in found] == sorted((r.whole for r in found), reverse=True)
    costs = [r.cost_min for r in found if r.whole]
    assert costs == sorted(costs)


@pytest.mark.parametrize(
    ("remedy", "cost"),
    [
        (Remedy((Change(ChangeKind.TIPS),), 0, True, takes_s=300.0), 5.0),
        (Remedy((Change(ChangeKind.TIPS),), 0, True, loss_pct=2.0), 20.0),
        (Remedy((Change(ChangeKind.TIPS),), 0, True, loss_pct=-2.0), 0.0),
        (Remedy((Change(ChangeKind.STRIPS),), 0, True, left_share=0.03), 30.0),
        (Remedy((Change(ChangeKind.RETARDANT),), 0, True, takes_s=600.0), 15.0),
    ],
)
def test_what_a_remedy_costs_in_minutes_of_work(remedy: Remedy, cost: float) -> None:
    """A point of control lost, or a percent of the field left, is ten; a product five: choices."""
    assert remedy.cost_min == cost


def test_a_lower_boom_takes_a_minute_and_goes_as_low_as_it_can() -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": "0.12 %"}}}
    found = {c.kind: c for r in towards(config, "medium15") for c in r.changes}
    assert (found[ChangeKind.BOOM].value, found[ChangeKind.BOOM].takes_s) == (0.4, 60.0)


def test_slower_is_as_far_as_the_spray_keeps_its_class() -> None:
    """12 mph by the fourth root of two: there the pressure has fallen by the root of two."""
    assert _slower(base_of(tables())) == pytest.approx(12 * 0.44704 / 2**0.25)
    (slower,) = [
        c
        for rig in _handling(base_of(tables()))
        for c in rig.changes
        if c.kind is ChangeKind.SLOWER
    ]
    assert slower.takes_s == 0.0


def test_a_sprayer_that_goes_hardly_slower_is_not_asked_to() -> None:
    config = tables()
    for slowest, offered in (("11.8 mph", False), ("11.7 mph", True)):
        config["sprayers"]["boom"]["slowest"] = slowest
        assert (_slower(base_of(config)) is not None) is offered
    del config["sprayers"]["boom"]["slowest"]
    assert _slower(base_of(config)) is None


def base_of(given: dict[str, Any], setup: str = "medium15") -> _Rig:
    config = build_farm(given).config
    return _Rig((), config.setups[setup], config.sprayers["boom"])


def test_no_slower_than_the_tips_bear_by_their_pressure() -> None:
    """Pre-orifice tips from 1.5 bar on: at 2 bar the speed falls by the root of 0.75 at most."""
    config = tables()
    config["setups"]["medium15"]["pressure"] = "2 bar"
    assert _slower(base_of(config)) == pytest.approx(12 * 0.44704 * 0.75**0.5)


@pytest.mark.parametrize(("lowest", "offered"), [("0.508 m", False), ("0.5 m", True)])
def test_a_boom_that_is_as_low_as_it_goes_is_not_lowered(lowest: str, offered: bool) -> None:
    config = tables()
    config["sprayers"]["boom"]["lowest_boom"] = lowest
    kinds_ = {c.kind for rig in _handling(base_of(config)) for c in rig.changes}
    assert (ChangeKind.BOOM in kinds_) is offered


def minutes_of(count: int, step_s: int = 300, **sky: Any) -> WeatherSeries:
    hours = fair_weather(hours=count, **sky)
    times = hours.times[0] + step_s * np.arange(count)
    return WeatherSeries.of(times, hours.site, "test", hours.quantities())


@pytest.mark.parametrize(("minutes", "offered"), [(10, False), (15, True)])
def test_what_holds_for_ten_minutes_once_it_is_done_is_a_remedy(
    minutes: int, offered: bool
) -> None:
    """Tips take five minutes to turn; after so many minutes the wind is over the label's bound."""
    count = 288
    wind = np.where(np.arange(count) < NOW + minutes // 5, 4.5, 10.5)
    series = minutes_of(count, wind_mph=wind, wind_from_deg=180.0)
    found = remedies(case_of(tables(), series))
    turned = [r for r in found if [c.name for c in r.changes] == ["coarse15"]]
    assert bool(turned) is offered
    for remedy in turned:
        assert remedy.until == series.times[NOW] + 60 * minutes
        assert not remedy.whole


def test_tips_that_are_not_on_the_turret_are_changed_by_hand() -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": "0.12 %"}}}
    found = {c.name: c for r in towards(config) for c in r.changes if c.kind is ChangeKind.TIPS}
    assert not found["coarse15"].by_hand
    assert found["coarse15"].takes_s == 300.0
    if "medium15" in found:
        assert found["medium15"].by_hand
        assert found["medium15"].takes_s > 300.0


def test_a_strip_is_so_many_booms_deep_along_the_vines() -> None:
    """27.432 m a pass beside 400 m of vines, of 16 ha."""
    strips = {kinds(r): r for r in towards(tables())}[(ChangeKind.STRIPS,)]
    passes = strips.changes[0].passes
    assert strips.left_m2 == pytest.approx(passes * 27.432 * 400.0, rel=0.02)
    assert strips.left_share == pytest.approx(strips.left_m2 / 160_000.0, rel=0.01)


def test_waiting_is_for_what_is_left_and_until_it_closes_again() -> None:
    wind = np.where(np.isin(np.arange(40), (5, 6)), 5.0, 10.2)
    series = fair_weather(hours=40, wind_mph=wind)
    for left_s, whole in ((7200.0, True), (7201.0, False)):
        case = replace(case_of(tables(), series), left_s=left_s)
        (wait,) = remedies(case)
        assert wait.until == series.times[7]
        assert wait.whole is whole


def test_waiting_for_hours_with_little_room_lasts_as_long_as_they_do() -> None:
    wind = np.where(np.isin(np.arange(40), (5, 6)), 9.5, 10.2)
    case = case_of(tables(), fair_weather(hours=40, wind_mph=wind), setup="coarse15")
    assert case.judgement.instant[*case.at[:2], 5] == Status.MARGINAL
    (wait,) = remedies(replace(case, left_s=7200.0))
    assert (wait.changes[0].value, wait.until) == (
        case.look.series.times[5],
        wait.changes[0].value + 7200,
    )


def test_another_field_takes_half_an_hour_to_begin() -> None:
    """K cannot be sprayed for the vines, C can: until its own wind closes it."""
    for minutes, offered in ((35, False), (40, True)):
        wind = np.where(np.arange(288) < NOW + minutes // 5, 4.5, 10.5)
        series = minutes_of(288, wind_mph=wind, wind_from_deg=180.0)
        found = [r for r in remedies(case_of(tables(), series)) if kinds(r) == (ChangeKind.FIELD,)]
        assert bool(found) is offered
        for remedy in found:
            assert remedy.changes[0].name == "C"
            assert remedy.takes_s == 1800.0
            assert remedy.until == series.times[NOW] + 60 * minutes


def test_a_retardant_takes_ten_minutes_to_mix() -> None:
    config = tables() | {"judging": {"tolerable_deposit": {"susceptible": "0.187 %"}}}
    added = [c for r in towards(config) for c in r.changes if c.kind is ChangeKind.RETARDANT]
    assert added
    assert {c.takes_s for c in added} == {600.0}


def test_of_two_changes_of_which_one_does_as_well_alone_nothing_is_said() -> None:
    found = towards(tables())
    alone = {(r.changes[0].kind, r.changes[0].name): r for r in found if len(r.changes) == 1}
    for pair in (r for r in found if len(r.changes) == 2):
        for change in pair.changes:
            one = alone.get((change.kind, change.name))
            assert one is None or (not one.whole and one.until < pair.until)


def test_the_remedies_are_the_eight_best_at_most() -> None:
    assert len(towards(tables())) <= 8
