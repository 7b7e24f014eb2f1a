"""Chances: laws that hold whatever the weather, and the one judgement behind them."""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from watcher.farm.models import Adjuvant
from watcher.judge.chances import (
    BROKEN,
    HELD,
    STARTS_AHEAD_S,
    Chances,
    FarmChances,
    chances,
    outcomes,
)
from watcher.judge.changed_rig import ChangedRig
from watcher.judge.judgement import judge
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.weather.series import Site, WeatherSeries

HOUR = 3600
NOON = 1_781_107_200
SITE = Site(LATITUDE, LONGITUDE, elevation_m=350.0)
PAST, AHEAD = 24, 40


@dataclass(frozen=True)
class Weather:
    series: WeatherSeries
    fields: tuple[str, ...] = ()
    wind_uncertainty_m_s: float = 0.0
    expects: dict[str, Any] = field(default_factory=dict)


def look(**changed: Any) -> Weather:
    times = NOON + HOUR * np.arange(-PAST, AHEAD)
    values = {
        "wind_m_s": 4.0,
        "gust_m_s": 6.0,
        "wind_from_deg": 200.0,
        "temp_c": 20.0,
        "humidity_pct": 60.0,
        "cloud_pct": 60.0,
        "rain_mm_h": 0.0,
    } | changed
    arrays = {name: np.broadcast_to(value, times.shape) for name, value in values.items()}
    return Weather(WeatherSeries.of(times, SITE, "invented", arrays))


def farm(tank: str = "1200 gal", names: tuple[str, str] = ("creek_side", "hill")) -> FarmArrays:
    config: dict[str, Any] = tables()
    config["fields"] = dict(zip(names, config["fields"].values(), strict=True))
    for sprayer in config["sprayers"].values():
        sprayer["tank"] = tank
    return FarmArrays.of(build(config))


def scenarios(seed: int, count: int = 40, **changed: Any) -> tuple[np.ndarray, dict[str, Any]]:
    rng = np.random.default_rng(seed)
    times = NOON + 1800 * np.arange(1, 2 * (AHEAD - 1))
    shape = (count, times.size)
    wind = np.abs(4.0 + rng.normal(0, 1.5, (count, 1)) + rng.normal(0, 1.0, shape))
    values = {
        "wind_m_s": wind,
        "gust_m_s": wind * 1.5,
        "wind_from_deg": 200.0 + 20.0 * rng.standard_normal(shape),
        "temp_c": 20.0 + rng.standard_normal(shape),
        "dew_point_c": np.full(shape, 11.0),
        "rain_mm_h": np.where(rng.random(shape) < 0.01, 1.0, 0.0),
    }
    return times, values | {n: np.broadcast_to(v, shape) for n, v in changed.items()}


def of(plan: FarmArrays, seed: int, weather: Weather | None = None, **changed: Any) -> Chances:
    times, values = scenarios(seed, **changed)
    starts = NOON + HOUR * np.arange(24)
    return chances(
        plan,
        weather or look(),
        PAST,
        times=times,
        values=values,
        starts=starts,
        past_forecasts=np.zeros(starts.size, np.int64),
    )


SEEDS = st.integers(0, 1000)
few = settings(max_examples=8)


@few
@given(SEEDS)
def test_a_chance_lies_between_none_and_all(seed: int) -> None:
    held = of(farm(), seed).held
    assert ((held >= 0) & (held <= 1)).all()
    assert (held > 0).any()


@few
@given(SEEDS)
def test_a_longer_job_has_no_better_chance(seed: int) -> None:
    quick, slow = farm(), farm(tank="200 gal")  # more fills
    assert (slow.duration_s > quick.duration_s).all()
    assert (of(slow, seed).held <= of(quick, seed).held).all()


@few
@given(SEEDS)
def test_the_first_half_holds_at_least_as_often_as_the_whole(seed: int) -> None:
    found = of(farm(tank="200 gal"), seed)
    assert (found.half >= found.held).all()
    assert (found.half > found.held).any()


@pytest.fixture(scope="module")
def hours_ahead() -> FarmChances:
    return FarmChances(NOON, (of(farm(), 3),))


@pytest.mark.parametrize("status", [Status.UNSUITABLE, Status.UNKNOWN])
def test_no_chance_is_told_of_what_is_unsuitable_or_unknown(
    hours_ahead: FarmChances, status: Status
) -> None:
    assert hours_ahead.now("hill", "coarse", NOON, status) is None
    assert hours_ahead.at_hour("hill", "coarse", NOON + HOUR, status) is None
    assert hours_ahead.at_hour("hill", "coarse", NOON + HOUR, Status.MARGINAL) is not None


def test_a_job_begun_now_has_the_chance_of_the_nearest_start(hours_ahead: FarmChances) -> None:
    first, second, *_ = hours_ahead.of("hill", "coarse")
    for minutes, wanted in ((0, first), (20, first), (40, second), (60, second)):
        at = NOON + 60 * minutes
        assert hours_ahead.now("hill", "coarse", at, Status.SUITABLE) == wanted


def test_a_field_that_opened_since_has_the_chance_of_the_next_start() -> None:
    times = look().series.times
    shut = look(wind_m_s=np.where(times == NOON, 20.0, 4.0))
    found = FarmChances(NOON, (of(farm(), 3, shut),))
    first, second, *_ = found.of("hill", "coarse")
    assert first.chance == 0.0
    assert found.now("hill", "coarse", NOON + 600, Status.SUITABLE) == second
    assert found.now("hill", "coarse", NOON, Status.SUITABLE) == first  # nothing newer is known


def test_chances_worked_out_long_ago_say_nothing_of_now(hours_ahead: FarmChances) -> None:
    after_all = NOON + 26 * HOUR
    assert hours_ahead.now("hill", "coarse", after_all, Status.SUITABLE) is None


@few
@given(SEEDS)
def test_names_change_nothing(seed: int) -> None:
    one, other = of(farm(), seed), of(farm(names=("zebra", "ant")), seed)
    assert np.array_equal(one.held, other.held)
    assert np.array_equal(one.ends_it, other.ends_it)


@few
@given(SEEDS)
def test_scenarios_end_to_end_are_judged_as_each_alone(seed: int) -> None:
    plan, weather = farm(), look()
    times, values = scenarios(seed, count=5)
    starts = NOON + HOUR * np.arange(20)
    together = chances(
        plan,
        weather,
        PAST,
        times=times,
        values=values,
        starts=starts,
        past_forecasts=np.zeros(starts.size, np.int64),
    )
    alone = [
        chances(
            plan,
            weather,
            PAST,
            times=times,
            values={name: array[n : n + 1] for name, array in values.items()},
            starts=starts,
            past_forecasts=np.zeros(starts.size, np.int64),
        ).held
        for n in range(5)
    ]
    held = np.sum([2 * one - 0.5 for one in alone], axis=0)  # (held + 1/2) / 2 each
    assert together.held[..., 1:] == pytest.approx(((held + 0.5) / 6)[..., 1:])


def test_runs_of_a_judgement_know_nothing_of_each_other() -> None:
    plan, calm, wet = farm(), look().series, look(rain_mm_h=2.0).series
    both = WeatherSeries(
        np.tile(calm.times, 2),
        SITE,
        "both",
        **{
            name: np.concatenate([array, getattr(wet, name)])
            for name, array in calm.quantities().items()
        },
        runs=2,
    )
    joined = judge(plan, both)
    for run, series in enumerate((calm, wet)):
        alone = judge(plan, series)
        part = slice(run * len(series), (run + 1) * len(series))
        assert np.array_equal(joined.instant[..., part], alone.instant)
        assert np.array_equal(joined.status[..., part], alone.status)
        assert np.array_equal(joined.inversion.finding[part], alone.inversion.finding)


def test_runs_must_be_of_the_same_times() -> None:
    with pytest.raises(ValueError, match="the same times"):
        WeatherSeries(np.array([0, 1, 0, 2]), SITE, "odd", runs=2)


def test_an_unsuitable_now_has_no_chance_and_an_unknown_one_an_unknown_chance() -> None:
    times = look().series.times
    for wind, wanted in ((20.0, 0.0), (np.nan, np.nan)):
        now = look(wind_m_s=np.where(times == NOON, wind, 4.0))
        held = of(farm(), 1, now).held[..., 0]
        assert np.array_equal(held, np.full(held.shape, wanted), equal_nan=True)


def test_what_no_feed_foretells_leaves_the_chance_unknown() -> None:
    held = of(farm(), 1, gust_m_s=np.nan).held
    assert (np.isnan(held) | (held < 0.02)).all()  # some setups break without the gust already
    assert np.isnan(held).any()


def test_a_storm_in_every_scenario_leaves_none_and_is_named() -> None:
    found = of(farm(), 1, wind_m_s=25.0)
    late = found.held[..., 2:]
    assert late == pytest.approx(0.5 / 41)
    named = found.ends_it[..., 2:]
    assert set(np.unique(named)) <= {
        list(Limit).index(limit) for limit in (Limit.WIND, Limit.DEPOSIT)
    }


def test_rain_counts_from_the_end_of_the_job_as_the_alert_in_it_has_it() -> None:
    """Rain eight hours after the start: too soon for a job begun later, no matter for one now."""
    plan = farm()
    rain_at = NOON + 8 * HOUR
    times = look().series.times
    weather = look(rain_mm_h=np.where(times >= rain_at, 1.0, 0.0))
    starts = NOON + 600 * np.arange(30)
    times = NOON + 600 * np.arange(6 * 12)
    at = np.searchsorted(weather.series.times, times, side="right") - 1
    fine = WeatherSeries.of(
        times, SITE, "fine", {n: v[at] for n, v in weather.series.quantities().items()}
    )
    outcome, by = outcomes(plan, weather, fine, starts)
    need_s = plan.bounds[Limit.RAIN_AFTER].low
    enough = starts + plan.duration_s[..., None] + need_s[:, None, None] <= rain_at
    stands = {c.limit: plan.of_fields(c.stand) for c in judge(plan, fine).found}
    others = np.minimum.reduce(
        [
            np.broadcast_to(s, outcome.shape[:2] + times.shape)
            for n, s in stands.items()
            if n is not Limit.RAIN_AFTER
        ]
    )
    never_broken = (others > LimitState.UNKNOWN).all(axis=-1)
    assert never_broken.any()
    for f, s in zip(*np.nonzero(never_broken), strict=True):
        assert np.array_equal(outcome[f, s, 0] == HELD, enough[f, s])
        assert np.array_equal(by[Limit.RAIN_AFTER][f, s, 0], outcome[f, s, 0] == BROKEN)


def test_a_bound_of_what_scenarios_do_not_say_stays_and_of_what_they_say_goes() -> None:
    """A gust surely over its limit counts only where no scenario says another."""
    weather = look()
    count = len(weather.series)
    most = np.where(np.arange(count) > PAST, 40.0, np.nan)
    bounded = weather.series.bounded({"gust_m_s": (most, np.full(count, np.nan))})
    unsaid = {"wind_m_s": 4.0, "gust_m_s": 6.0, "wind_from_deg": 200.0, "rain_mm_h": 0.0}
    times, values = scenarios(0, **unsaid)
    starts = NOON + HOUR * np.arange(1, 10)

    def held(values: dict[str, Any], series: WeatherSeries) -> np.ndarray:
        return chances(
            farm(),
            Weather(series),
            PAST,
            times=times,
            values=values,
            starts=starts,
            past_forecasts=np.zeros(starts.size, np.int64),
        ).held[..., 1:]

    said = held(values, weather.series)
    assert np.nanmax(said) > 0.9
    assert np.array_equal(held(values, bounded), said, equal_nan=True)
    without = {name: each for name, each in values.items() if name != "gust_m_s"}
    assert np.nanmax(held(without, bounded)) < 0.1


def test_what_no_scenario_says_is_as_foretold_hour_by_hour() -> None:
    """Gusts over every bound from ten hours on: a job is done before, or broken off by them."""
    times = look().series.times
    weather = look(gust_m_s=np.where(times >= NOON + 10 * HOUR, 30.0, 6.0))
    said, values = scenarios(0, wind_m_s=4.0, wind_from_deg=200.0, rain_mm_h=0.0)
    del values["gust_m_s"]
    plan = farm()
    (hill,) = (f for f, name in enumerate(plan.fields) if name == "hill")
    takes = plan.duration_s[hill]
    starts = NOON + 600 * np.arange(6, 72)
    found = chances(
        plan, weather, PAST, times=said, values=values, starts=starts, past_forecasts=np.zeros(66)
    )
    for setup in np.flatnonzero(found.held[hill].max(axis=1) > 0.9):
        done = starts + takes[setup] <= NOON + 10 * HOUR
        assert (found.held[hill, setup, ~done] < 0.1).all()
        assert (found.held[hill, setup, done] > 0.9).all()
    assert (found.held[hill] > 0.9).any()


def test_a_sensor_is_expected_to_speak_up_to_now_and_not_of_the_hours_ahead() -> None:
    """A leaf sensor that says dry until now: later rain and dew stand in for it."""
    told: dict[str, Any] = tables()
    for window in told["windows"].values():
        window["leaf_dry_before"] = {"low": "1 h"}
    plan = FarmArrays.of(build(told))
    times = look().series.times
    weather = look(leaf_wet_pct=np.where(times <= NOON, 0.0, np.nan))
    sensed = replace(weather, expects={"leaf_wet_pct": times <= NOON})
    calm = {"wind_m_s": 4.0, "gust_m_s": 6.0, "wind_from_deg": 200.0, "rain_mm_h": 0.0}
    for expecting in (weather, sensed):
        held = of(plan, 1, expecting, **calm).held
        assert not np.isnan(held).any()
        assert held.max() > 0.9
    silent = look(leaf_wet_pct=np.where(times < NOON, 0.0, np.nan))
    blind = replace(silent, expects={"leaf_wet_pct": times <= NOON})
    assert np.isnan(of(plan, 1, blind, **calm).held[..., 0]).any()


ONTO = 180.0
"""Wind from the south blows to the orchard 33 ft north of ``creek_side``."""


def low_chance(rig: ChangedRig | None = None, setup: str = "fine") -> float:
    """The mean chance over the starts where what the orchard stands decides."""
    plan = farm() if rig is None else farm().only(("creek_side",))
    times, values = scenarios(5, wind_from_deg=ONTO)
    found = chances(
        plan,
        look(wind_from_deg=ONTO),
        PAST,
        times=times,
        values=values,
        starts=NOON + HOUR * np.arange(6),
        past_forecasts=0,
        rig=rig,
    )
    return float(found.held[found.fields.index("creek_side"), found.setups.index(setup)].mean())


@pytest.mark.parametrize(
    "changed", [{"boom_height_m": 0.2, "speed_m_s": 2.0}, {"strips": {"orchard": 100.0}}]
)
def test_a_rig_that_was_changed_to_drift_less_has_the_better_chance(changed: Any) -> None:
    assert low_chance(ChangedRig("creek_side", "coarse", **changed), "coarse") > (
        low_chance(setup="coarse") + 0.05
    )


def test_a_rig_as_it_was_planned_has_the_chance_of_the_farm_file() -> None:
    assert low_chance(ChangedRig("creek_side", "coarse"), "coarse") == low_chance(setup="coarse")


def test_what_the_pump_wears_is_not_counted_on_once_it_is_worn() -> None:
    # Given an hour ago it is worn for every start.
    worn = ChangedRig(
        "creek_side", "coarse", adjuvant=Adjuvant.POLYACRYLAMIDE, added_at=NOON - HOUR
    )
    assert low_chance(worn, "coarse") == low_chance(setup="coarse")


def test_the_chance_of_another_rig_than_was_worked_out_is_not_known() -> None:
    part, rig = of(farm(), 3), ChangedRig("creek_side", "coarse", boom_height_m=0.3)
    own = of(farm().only(("creek_side",)), 4)
    worked_out = FarmChances(NOON, (part,), ((rig, own),), (rig,))
    assert worked_out.of("creek_side", "coarse")[0].chance == own.held[0, _COARSE, 0]
    assert worked_out.of("hill", "coarse")[0].chance == part.held[1, _COARSE, 0]
    other = replace(rig, boom_height_m=0.4)
    assert worked_out.with_rigs([other]).of("creek_side", "coarse") == ()
    over = worked_out.with_rigs([]).of("creek_side", "coarse")
    assert over[0].chance == part.held[0, _COARSE, 0]


_COARSE = farm().setups.index("coarse")


@pytest.mark.parametrize(("age_s", "old"), [(7200, False), (7201, True)])
def test_chances_are_old_after_two_hours(age_s: int, old: bool) -> None:
    assert FarmChances(NOON).old(NOON + age_s) is old


@pytest.mark.parametrize(("off_s", "noticed"), [(3600, True), (3601, False)])
def test_a_start_within_an_hour_tells_of_now(
    hours_ahead: FarmChances, off_s: int, noticed: bool
) -> None:
    now = int(hours_ahead.parts[0].starts[-1]) + off_s
    at = replace(hours_ahead, at=now)
    assert (at.now("hill", "coarse", now, Status.SUITABLE) is not None) is noticed


def test_only_a_start_that_was_worked_out_has_a_chance(hours_ahead: FarmChances) -> None:
    part = hours_ahead.parts[0]
    assert part.at(NOON) == 0
    assert part.at(NOON + HOUR) == 1
    for other in (NOON - HOUR, NOON + 1, int(part.starts[-1]) + HOUR):
        assert part.at(other) is None
        assert hours_ahead.at_hour("hill", "coarse", other, Status.SUITABLE) is None
        assert hours_ahead.likeliest("hill", other, NOON) is None
    assert STARTS_AHEAD_S == 259_200


def test_the_likeliest_is_that_of_the_setup_with_the_best_chance(hours_ahead: FarmChances) -> None:
    part = hours_ahead.parts[0]
    for b in range(part.starts.size):
        found = hours_ahead.likeliest("hill", int(part.starts[b]), NOON)
        assert found is not None
        known = part.held[part.fields.index("hill"), :, b]
        assert found.chance == np.nanmax(known)
        assert found.ends_at - found.starts_at >= 0


def test_a_job_ends_its_duration_after_its_start(hours_ahead: FarmChances) -> None:
    part = hours_ahead.parts[0]
    found = part.one("hill", 1, 2)
    assert found.starts_at == part.starts[2]
    assert found.ends_at == int(part.starts[2] + part.duration_s[1, 1])


@pytest.mark.parametrize(("blind", "known"), [(4, True), (5, False)])
def test_a_tenth_of_the_scenarios_may_be_unknown(blind: int, known: bool) -> None:
    """Of forty: four are a tenth; what is left counts as it came out, half a scenario added."""
    times, _ = scenarios(0)
    shape = (40, times.size)
    gust = np.full(shape, 6.0)
    gust[:blind] = np.nan
    steady = {"wind_m_s": 4.0, "wind_from_deg": 200.0, "temp_c": 20.0, "rain_mm_h": 0.0}
    found = of(farm(), 0, gust_m_s=gust, **steady)
    held = found.held[1, _COARSE, 1]  # early enough for the day
    if known:
        assert held == pytest.approx((40 - blind + 0.5) / 41)
    else:
        assert np.isnan(held)


def test_a_setup_that_may_not_be_used_has_no_chance() -> None:
    config: dict[str, Any] = tables()
    config["fields"]["hill"]["setups"] = ["coarse"]
    found = of(FarmArrays.of(build(config)), 3)
    others = [s for s, name in enumerate(found.setups) if name != "coarse"]
    assert (found.held[1, others] == 0.0).all()
    assert (found.half[1, others] == 0.0).all()
    assert found.held[1, _COARSE].max() > 0.0
