"""Bound crossed, trend, front and chance of a gust: what a running job is told."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tests.weather.simulated_days import START, simulate, with_faults
from watcher.weather.nowcast import Crossing, Nowcast, crossing, nowcast
from watcher.weather.series import Site, WeatherSeries

law = settings(max_examples=40, deadline=None)

WIND, GUST = 4.5, 6.7
MINUTES = 40


def _series(**changed: NDArray[np.float64]) -> WeatherSeries:
    """A steady, quiet wind of 3 m/s."""
    arrays = {
        "wind_m_s": np.full(MINUTES, 3.0),
        "gust_m_s": np.full(MINUTES, 3.5),
        "wind_from_deg": np.full(MINUTES, 250.0),
        "temp_c": np.full(MINUTES, 20.0),
        "pressure_pa": np.full(MINUTES, 99_000.0),
    }
    times = 60 * np.arange(1, MINUTES + 1)
    return WeatherSeries.of(times, Site(45.0, 0.0), "made", arrays | changed)


def _at(values: float, index: int, other: float) -> NDArray[np.float64]:
    array = np.full(MINUTES, values)
    array[index] = other
    return array


def _crossing(series: WeatherSeries) -> Crossing:
    return crossing(series, wind_bound_m_s=WIND, gust_bound_m_s=GUST, step_s=60)


def _nowcast(series: WeatherSeries) -> Nowcast:
    return nowcast(series, wind_bound_m_s=WIND, gust_bound_m_s=GUST, step_s=60)


def _arrays(now: Nowcast) -> dict[str, NDArray[np.generic]]:
    return {
        f"{part}.{name}": values
        for part in ("crossing", "mean_ahead", "front", "gust_chance")
        for name, values in vars(getattr(now, part)).items()
    }


def _same(one: Nowcast, other: Nowcast, upto: int | None = None) -> None:
    for name, values in _arrays(one).items():
        np.testing.assert_array_equal(values[:upto], _arrays(other)[name][:upto], err_msg=name)


@pytest.fixture(scope="module")
def working_hours() -> WeatherSeries:
    """Five hours with fronts and failing sensors."""
    day = with_faults(simulate(4, fronts=2).station(), 4)
    return day.between(START + 45_000, START + 63_000)


def test_a_gust_over_the_bound_is_told_by_the_reading_that_brings_it() -> None:
    warns = _crossing(_series(gust_m_s=_at(3.5, 25, 6.8))).warns
    assert not warns[24]
    assert warns[25]


def test_a_gust_stays_told_for_ten_minutes() -> None:
    warns = _crossing(_series(gust_m_s=_at(3.5, 20, 6.8))).warns
    assert warns[20:30].all()
    assert not warns[30]


def test_a_gust_at_the_bound_is_not_over_it() -> None:
    assert not _crossing(_series(gust_m_s=_at(3.5, 25, GUST))).warns.any()


def test_the_ten_minute_mean_over_the_bound_is_told() -> None:
    wind = np.where(np.arange(MINUTES) < 20, 3.0, 6.0)  # 4.5 after five minutes, more after six
    found = _crossing(_series(wind_m_s=wind, gust_m_s=wind))
    assert found.mean_m_s[24] == pytest.approx(4.5)
    assert not found.wind_over[24]
    assert found.wind_over[25]


def test_a_mean_over_the_gust_bound_is_a_gust_over_it() -> None:
    found = _crossing(_series(wind_m_s=_at(3.0, 25, 7.0), gust_m_s=np.full(MINUTES, np.nan)))
    assert found.gust_over[25]


def test_a_missing_newest_reading_is_unknown() -> None:
    found = _crossing(_series(gust_m_s=_at(3.5, 25, np.nan)))
    assert found.unknown[25]
    assert not found.unknown[26]


@pytest.mark.parametrize("wrong", [-9999.9, -1.0, 9999.0, np.inf])
def test_what_no_wind_can_be_counts_as_missing(wrong: float) -> None:
    found = _crossing(_series(wind_m_s=_at(3.0, 25, wrong)))
    assert found.unknown[25]
    assert not found.warns.any()


def test_the_first_minutes_of_a_record_are_unknown() -> None:
    unknown = _crossing(_series()).unknown
    assert unknown[:7].all()
    assert not unknown[7:].any()


def test_what_is_told_is_told_although_something_else_is_missing() -> None:
    missing = np.full(MINUTES, np.nan)
    found = _crossing(_series(wind_m_s=missing, gust_m_s=_at(3.5, 25, 8.0)))
    assert found.warns[25]
    assert not found.unknown[25]


def test_a_quantity_without_a_bound_may_be_missing() -> None:
    series = _series(gust_m_s=np.full(MINUTES, np.nan))
    found = crossing(series, wind_bound_m_s=WIND, gust_bound_m_s=np.inf, step_s=60)
    assert not found.unknown[10:].any()


def test_a_bound_that_is_not_known_is_unknown() -> None:
    found = crossing(_series(), wind_bound_m_s=np.nan, gust_bound_m_s=GUST, step_s=60)
    assert found.unknown.all()


def test_nothing_known_is_unknown_and_tells_nothing() -> None:
    nothing = {name: np.full(MINUTES, np.nan) for name in _series().quantities()}
    now = _nowcast(_series().having(**nothing))
    assert now.unknown.all()
    assert not now.warns.any()


@law
@given(st.floats(0.0, 4.0))
def test_a_constant_wind_raises_nothing(wind: float) -> None:
    steady = np.full(MINUTES, wind)
    now = _nowcast(_series(wind_m_s=steady, gust_m_s=steady))
    assert not now.warns.any()


def test_all_is_well_once_half_an_hour_is_known() -> None:
    assert not _nowcast(_series()).unknown[30:].any()


@law
@given(shift=st.integers(-(10**9), 10**9))
def test_shifting_time_changes_nothing(working_hours: WeatherSeries, shift: int) -> None:
    moved = WeatherSeries(
        working_hours.times + shift, working_hours.site, "moved", **working_hours.quantities()
    )
    _same(_nowcast(moved), _nowcast(working_hours))


@law
@given(cut=st.integers(1, 299), seed=st.integers(0, 1000))
def test_the_future_never_changes_the_past(
    working_hours: WeatherSeries, cut: int, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    other = {
        name: np.where(np.arange(300) < cut, values, rng.uniform(0.0, 300.0, 300))
        for name, values in working_hours.quantities().items()
    }
    _same(_nowcast(working_hours.having(**other)), _nowcast(working_hours), cut)


@law
@given(cut=st.integers(1, 299))
def test_a_day_in_one_call_is_the_day_minute_by_minute(
    working_hours: WeatherSeries, cut: int
) -> None:
    _same(_nowcast(working_hours.at(slice(0, cut))), _nowcast(working_hours), cut)


def test_many_bounds_are_judged_in_one_call(working_hours: WeatherSeries) -> None:
    winds, gusts = np.array([[3.0], [4.5], [np.inf]]), np.array([[5.0], [6.7], [8.0]])
    many = nowcast(working_hours, wind_bound_m_s=winds, gust_bound_m_s=gusts, step_s=60)
    assert many.warns.shape == many.unknown.shape == (3, 300)
    for row in range(3):
        one = nowcast(
            working_hours,
            wind_bound_m_s=float(winds[row, 0]),
            gust_bound_m_s=float(gusts[row, 0]),
            step_s=60,
        )
        np.testing.assert_array_equal(many.warns[row], one.warns)
        np.testing.assert_array_equal(many.unknown[row], one.unknown)


def test_lower_bounds_are_told_of_no_less(working_hours: WeatherSeries) -> None:
    low = nowcast(working_hours, wind_bound_m_s=4.0, gust_bound_m_s=6.0, step_s=60)
    high = nowcast(working_hours, wind_bound_m_s=5.0, gust_bound_m_s=7.0, step_s=60)
    assert (low.warns | ~high.warns).all()


def test_an_empty_series_has_nothing_to_tell() -> None:
    now = _nowcast(_series().at(slice(0, 0)))
    assert now.warns.shape == now.unknown.shape == (0,)
