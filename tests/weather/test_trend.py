"""A wind on its way over the bound."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike
from scipy.stats import theilslopes

from watcher.weather.series import Site, WeatherSeries
from watcher.weather.trend import CONFIDENCE, Trend, rising

law = settings(deadline=None)

BOUND = 4.5
MINUTES = 40


def _series(wind: ArrayLike, step_s: int = 60) -> WeatherSeries:
    values = np.asarray(wind, dtype=np.float64)
    times = step_s * (1 + np.arange(values.size))
    return WeatherSeries.of(times, Site(45.0, 0.0), "made", {"wind_m_s": values})


def _trend(wind: ArrayLike) -> Trend:
    return rising(_series(wind), bound_m_s=BOUND, step_s=60)


def _ramp(minutes: int) -> np.ndarray:
    """One-minute means of a wind that grows by 0.1 m/s a minute from 2 m/s."""
    return 2.0 + 0.1 * (np.arange(minutes) + 0.5)


def _minute_over(wind: np.ndarray) -> int:
    """The minute at which the mean of ten one-minute means first is over the bound."""
    tens = np.convolve(wind, np.full(10, 0.1), mode="valid")
    return int(np.argmax(tens > BOUND)) + 10


def test_slope_is_that_of_scipy() -> None:
    wind = np.random.default_rng(1).normal(3.0, 0.5, 30)
    expected = theilslopes(wind, np.arange(30.0))
    assert _trend(wind).slope_m_s_per_min[-1] == pytest.approx(expected.slope)


def test_a_trend_is_told_exactly_where_scipys_cautious_line_reaches_the_bound_in_time() -> None:
    rng = np.random.default_rng(2)
    wind = 2.0 + 0.05 * np.arange(300) % 4 + rng.normal(0.0, 0.3, 300)
    told = _trend(wind).told
    two_sided = 0.8  # 1.28 standard deviations
    assert pytest.approx(1.2816, abs=2e-3) == CONFIDENCE
    minutes = np.arange(-30.0, 0.0) + 0.5
    for end in range(30, 300):
        last = wind[end - 30 : end]
        slope = theilslopes(last, minutes, alpha=two_sided).low_slope
        line = np.median(last - slope * minutes)
        assert told[end - 1] == (slope > 0 and line + slope * 5.0 >= BOUND)
    assert 0 < told.sum() < told.size


def test_the_minute_of_crossing_is_expected_where_it_comes() -> None:
    crossing = _minute_over(_ramp(60))
    expected = _trend(_ramp(60)).expected_s
    assert 30 + expected[29] / 60.0 == pytest.approx(crossing, abs=1.0)


def test_a_trend_is_told_ten_minutes_before() -> None:
    told = _trend(_ramp(60)).told
    first = int(np.argmax(told)) + 1
    assert _minute_over(_ramp(60)) - first == pytest.approx(10, abs=1)


def test_a_crossing_further_off_is_not_told() -> None:
    trend = _trend(_ramp(19))  # minute 30 is the first over the bound
    assert not trend.told[-1]
    assert trend.expected_s[-1] > 600.0


@law
@given(st.floats(0.0, BOUND), st.floats(-0.1, 0.0))
def test_a_steady_or_falling_wind_raises_nothing(wind: float, slope: float) -> None:
    falling = np.maximum(wind + slope * np.arange(MINUTES), 0.0)
    assert not _trend(falling).told.any()


@law
@given(st.integers(0, MINUTES - 1), st.floats(0.0, 75.0), st.floats(0.0, 4.4), st.floats(-0.1, 0.0))
def test_one_bad_reading_raises_no_trend(at: int, bad: float, wind: float, slope: float) -> None:
    winds = np.maximum(wind + slope * np.arange(MINUTES), 0.0)
    winds[at] = bad
    assert not _trend(winds).told.any()


@pytest.mark.parametrize("bad", [0.0, 75.0])
def test_one_bad_reading_hides_no_trend(bad: float) -> None:
    winds = _ramp(MINUTES)
    winds[-3] = bad
    assert _trend(winds).told[-1]


@law
@given(st.integers(-(10**9), 10**9))
def test_shifting_time_changes_nothing(shift: int) -> None:
    series = _series(_ramp(MINUTES))
    moved = WeatherSeries(series.times + shift, series.site, "made", wind_m_s=series.wind_m_s)
    there, here = (rising(s, bound_m_s=BOUND, step_s=60) for s in (moved, series))
    np.testing.assert_array_equal(there.expected_s, here.expected_s)


def test_a_jump_over_the_bound_is_told_within_three_minutes_of_it() -> None:
    wind = np.where(np.arange(MINUTES) < 34, 2.0, 6.0)
    told = _trend(wind).told
    assert not told[34]
    assert told[36]


def test_a_jump_is_expected_to_carry_the_mean_over_the_bound_if_it_lasts() -> None:
    wind = np.where(np.arange(60) < 34, 2.0, 6.0)
    trend = _trend(wind)
    assert 36 + 1 + trend.expected_s[36] / 60.0 == pytest.approx(_minute_over(wind), abs=1.0)


def test_a_jump_is_told_although_most_of_the_half_hour_is_missing() -> None:
    wind = np.where(np.arange(MINUTES) < 37, np.nan, 6.0)
    trend = _trend(wind)
    assert trend.told[-1]
    assert not trend.unknown[-1]


def test_too_few_readings_are_unknown() -> None:
    winds = 0.5 * _ramp(MINUTES)
    winds[MINUTES - 30 : MINUTES - 14] = np.nan
    trend = _trend(winds)
    assert trend.unknown[-1]
    assert not trend.told[-1]


def test_a_bound_that_is_not_known_is_unknown() -> None:
    trend = rising(_series(_ramp(MINUTES)), bound_m_s=np.nan, step_s=60)
    assert trend.unknown.all()


def test_no_bound_is_never_reached() -> None:
    trend = rising(_series(_ramp(MINUTES)), bound_m_s=np.inf, step_s=60)
    assert not trend.told.any()
    assert np.isposinf(trend.expected_s[-1])


def test_rare_readings_are_judged_over_a_longer_time() -> None:
    wind = 2.0 + 0.02 * 5.0 * (np.arange(24) + 0.5)  # every five minutes, 0.02 m/s a minute
    trend = rising(_series(wind, step_s=300), bound_m_s=4.0, step_s=300)
    assert trend.slope_m_s_per_min[-1] == pytest.approx(0.02)
    assert trend.told.any()


def test_each_bound_of_many_is_judged() -> None:
    bounds = np.array([[3.0], [4.5], [9.0]])
    trend = rising(_series(_ramp(MINUTES)), bound_m_s=bounds, step_s=60)
    assert trend.told.shape == (3, MINUTES)
    assert trend.told[:, -1].tolist() == [True, True, False]
