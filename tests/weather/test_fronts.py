"""The signature of a gust front."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.simulated_days import START, Day, simulate
from watcher.weather.fronts import Front, gust_front
from watcher.weather.series import Site, WeatherSeries
from watcher.weather.wind import direction_mean, yamartino

law = settings(deadline=None)

MINUTES = 40
ARRIVES = 30
BEFORE = {"wind_m_s": 3.0, "wind_from_deg": 300.0, "temp_c": 25.0, "pressure_pa": 100_000.0}
AFTER = {"wind_m_s": 7.0, "wind_from_deg": 30.0, "temp_c": 22.0, "pressure_pa": 100_080.0}
PAIRS = list(combinations(BEFORE, 2))


def _series(*moving: str, **wrong: float) -> WeatherSeries:
    """A quiet half hour; then the moving quantities jump, or those given go where told."""
    arrays = {}
    for name, value in BEFORE.items():
        arrays[name] = np.full(MINUTES, value)
        if name in moving or name in wrong:
            arrays[name][ARRIVES:] = wrong.get(name, AFTER[name])
    return WeatherSeries.of(60 * np.arange(1, MINUTES + 1), Site(45.0, 0.0), "made", arrays)


def _front(series: WeatherSeries) -> Front:
    return gust_front(series, step_s=60)


@pytest.mark.parametrize("pair", PAIRS)
def test_any_two_quantities_moving_together_are_a_front(pair: tuple[str, str]) -> None:
    warns = _front(_series(*pair)).warns
    assert not warns[:ARRIVES].any()
    assert warns[ARRIVES]


@pytest.mark.parametrize("alone", BEFORE)
def test_one_quantity_alone_is_no_front(alone: str) -> None:
    assert not _front(_series(alone)).warns.any()


@pytest.mark.parametrize("pair", PAIRS)
def test_two_quantities_are_enough_to_judge(pair: tuple[str, str]) -> None:
    series = _series(*pair)
    kept = {*pair, "wind_m_s"}  # a direction without a speed may be a calm's
    missing = {name: np.full(MINUTES, np.nan) for name in BEFORE if name not in kept}
    assert _front(series.having(**missing)).warns[ARRIVES]


def test_it_says_how_far_each_quantity_moved() -> None:
    front = _front(_series(*BEFORE))
    assert front.wind_rise_m_s[ARRIVES] == pytest.approx(4.0)
    assert front.turn_deg[ARRIVES] == pytest.approx(90.0)
    assert front.cooling_k[ARRIVES] == pytest.approx(3.0)
    assert front.pressure_rise_pa[ARRIVES] == pytest.approx(80.0)


def test_it_says_which_quantities_moved() -> None:
    front = _front(_series("temp_c", "pressure_pa"))
    moved = (front.wind_rose, front.wind_turned, front.air_cooled, front.pressure_rose)
    assert [bool(m[ARRIVES]) for m in moved] == [False, False, True, True]


def test_warming_with_falling_pressure_is_no_front() -> None:
    assert not _front(_series(temp_c=30.0, pressure_pa=99_900.0)).warns.any()


def test_a_light_wind_that_turns_is_no_sign() -> None:
    series = _series("wind_from_deg", "temp_c")
    assert not _front(series.having(wind_m_s=np.full(MINUTES, 0.8))).warns.any()


def test_what_a_quantity_did_all_along_is_no_sign() -> None:
    series = _series("wind_from_deg", "temp_c")
    restless = series.temp_c + np.where(np.arange(MINUTES) % 2, 3.0, -3.0)
    assert not _front(series.having(temp_c=restless)).warns.any()


@law
@given(st.sampled_from(list(BEFORE)), st.integers(0, MINUTES - 1), st.floats(-1e6, 1e6))
def test_one_bad_reading_raises_no_front(name: str, at: int, bad: float) -> None:
    series = _series()
    values = getattr(series, name).copy()
    values[at] = bad
    assert not _front(series.having(**{name: values})).warns.any()


@pytest.fixture(scope="module")
def day() -> Day:
    return simulate(4, fronts=2)


@law
@given(change_pa=st.floats(-50_000.0, 10_000.0))
def test_the_level_of_the_pressure_does_not_matter(day: Day, change_pa: float) -> None:
    series = day.station().between(START + 46_000, START + 52_000)
    changed = _front(series.having(pressure_pa=series.pressure_pa + change_pa))
    np.testing.assert_array_equal(changed.warns, _front(series).warns)
    assert _front(series).warns.any()


@law
@given(st.integers(0, 359))
def test_where_north_is_does_not_matter(turn_deg: int) -> None:
    series = _series("wind_from_deg", "pressure_pa")
    turned = series.having(wind_from_deg=(series.wind_from_deg + turn_deg) % 360.0)
    np.testing.assert_array_equal(_front(turned).warns, _front(series).warns)


@pytest.mark.parametrize("only", BEFORE)
def test_a_single_quantity_leaves_it_unknown(only: str) -> None:
    missing = {name: np.full(MINUTES, np.nan) for name in BEFORE if name != only}
    front = _front(_series(*BEFORE).having(**missing))
    assert front.unknown.all()
    assert not front.warns.any()


def test_a_calm_has_no_direction_but_is_no_gap() -> None:
    missing = np.full(MINUTES, np.nan)
    calm = _series().having(
        wind_m_s=np.zeros(MINUTES), wind_from_deg=missing, temp_c=missing, pressure_pa=missing
    )
    assert not _front(calm).unknown[-1]


def test_a_missing_reading_of_all_is_unknown() -> None:
    series = _series()
    holes = {name: getattr(series, name).copy() for name in BEFORE}
    for values in holes.values():
        values[35] = np.nan
    front = _front(series.having(**holes))
    assert front.unknown[35]
    assert not front.unknown[36]


def test_a_front_is_warn_from_readings_every_five_minutes() -> None:
    series = _series(*BEFORE)
    rare = WeatherSeries(5 * series.times, series.site, "made", **series.quantities())
    assert gust_front(rare, step_s=300).warns[ARRIVES]


@pytest.mark.parametrize("step_s", [10, 60])
def test_a_known_front_is_told_before_its_peak(day: Day, step_s: int) -> None:
    series = day.station(step_s)
    warns = (series.times - START)[gust_front(series, step_s=step_s).warns]
    for front in day.fronts:
        since = warns - front.arrives_s
        assert ((since > -front.lead_s) & (since < front.ramp_s)).any()


STRENGTHS = {  # the least move that counts, and the least spread minutes are credited with
    "wind_m_s": (1.5, 0.3, 1.0),
    "wind_from_deg": (40.0, 10.0, 1.0),
    "temp_c": (0.8, 0.15, -1.0),
    "pressure_pa": (25.0, 6.0, 1.0),
}


def _partner(name: str) -> str:
    """A quantity that surely moves, so that the one in question decides."""
    return "pressure_pa" if name == "temp_c" else "temp_c"


@pytest.mark.parametrize("name", BEFORE)
def test_after_quiet_minutes_a_move_counts_from_its_least_on(name: str) -> None:
    least, _, sign = STRENGTHS[name]
    for move, counts in ((least * 0.999, False), (least, True)):
        series = _series(_partner(name), **{name: BEFORE[name] + sign * move})
        assert _front(series).warns[ARRIVES] == counts


@pytest.mark.parametrize("name", BEFORE)
@pytest.mark.parametrize(("step_s", "gap", "count"), [(60, 3, 17), (300, 1, 4)])
def test_after_restless_minutes_it_counts_from_three_times_what_they_did(
    name: str, step_s: int, gap: int, count: int
) -> None:
    """What they did is worked out here by numpy, of the 17 minutes that end three minutes ago."""
    least, noise, sign = STRENGTHS[name]
    swing = least * 0.8 * np.random.default_rng(5).uniform(-1.0, 1.0, MINUTES)
    values = BEFORE[name] + swing
    before = values[-gap - count : -gap]
    usual = np.median(before)
    spread = np.sqrt(np.mean((before - usual) ** 2))
    if name == "wind_from_deg":
        usual, spread = direction_mean(before), yamartino(before)
    needed = 3.0 * np.hypot(spread, noise)
    assert needed > least
    partner = _partner(name)
    for share, counts in ((0.995, False), (1.005, True)):
        values[-1] = usual + sign * share * needed
        other = getattr(_series(), partner)
        other[-1] = AFTER[partner]
        series = _series().having(**{name: values, partner: other})
        spaced = WeatherSeries(
            step_s // 60 * series.times, series.site, "made", **series.quantities()
        )
        assert gust_front(spaced, step_s=step_s).warns[-1] == counts


@pytest.mark.parametrize(("wind", "counts"), [(0.99, False), (1.0, True)])
def test_a_turn_counts_from_a_metre_a_second_on(wind: float, counts: bool) -> None:
    series = _series("wind_from_deg", "temp_c").having(wind_m_s=np.full(MINUTES, wind))
    assert _front(series).warns[ARRIVES] == counts


@pytest.mark.parametrize(("known", "noticed"), [(12, False), (13, True)])
def test_three_quarters_of_the_minutes_before_tell_what_is_usual(known: int, noticed: bool) -> None:
    """13 of 17 minutes; of pressure and temperature alone."""
    series = _series(*BEFORE)
    holed = {name: getattr(series, name).copy() for name in ("temp_c", "pressure_pa")}
    for values in holed.values():
        values[ARRIVES - 19 : ARRIVES - 2 - known] = np.nan
    gone = np.full(MINUTES, np.nan)
    front = _front(series.having(wind_m_s=gone, wind_from_deg=gone, **holed))
    assert front.warns[ARRIVES] == noticed
    assert front.unknown[ARRIVES] != noticed
