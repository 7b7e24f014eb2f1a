"""Moving windows over a station's samples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.weather.wind_windows import (
    moving_direction,
    moving_gust,
    moving_high,
    moving_mean,
)

SECONDS = np.arange(1200, dtype=np.int64)


def test_a_gust_is_a_three_second_mean_not_a_spike() -> None:
    wind = np.full(1200, 4.0)
    wind[700] = 13.0
    gust = moving_gust(times=SECONDS, wind_m_s=wind, step_s=1)
    assert gust[-1] == pytest.approx((13.0 + 4.0 + 4.0) / 3)


def test_a_gust_that_lasts_three_seconds_counts_in_full_for_ten_minutes() -> None:
    wind = np.full(1200, 4.0)
    wind[500:503] = 10.0
    gust = moving_gust(times=SECONDS, wind_m_s=wind, step_s=1)
    assert gust[502] == pytest.approx(10.0)
    assert gust[502 + 599] == pytest.approx(10.0)
    # Its last two seconds are still in the window's first 3 s means; then it is over.
    assert gust[502 + 603] == pytest.approx(4.0)


def test_minute_means_hold_no_gust() -> None:
    times = SECONDS * 60
    assert np.all(np.isnan(moving_gust(times=times, wind_m_s=np.full(1200, 4.0), step_s=60)))


def test_the_gust_of_minute_data_is_the_highest_gust_given() -> None:
    times = 60 * np.arange(20, dtype=np.int64)
    gusts = np.full(20, 6.0)
    gusts[8] = 11.0
    high = moving_high(times=times, values=gusts, step_s=60)
    assert high[8:18].tolist() == [11.0] * 10
    assert high[18] == 6.0


@given(st.integers(0, 400))
def test_the_moving_mean_is_the_mean_of_the_last_ten_minutes(seed: int) -> None:
    wind = np.random.default_rng(seed).uniform(0, 10, 1200)
    at = 700 + seed
    mean = moving_mean(times=SECONDS, values=wind, step_s=1)
    assert mean[at] == pytest.approx(wind[at - 599 : at + 1].mean())


def test_a_two_minute_mean_looks_back_two_minutes() -> None:
    wind = np.where(SECONDS < 600, 2.0, 6.0)
    mean = moving_mean(times=SECONDS, values=wind, step_s=1, width_s=120)
    assert mean[[599, 659, 719]].tolist() == pytest.approx([2.0, 4.0, 6.0])


def test_irregular_samples_are_averaged_as_they_came() -> None:
    times = np.array([0, 7, 11, 25, 31, 44, 52, 58], dtype=np.int64)
    values = np.arange(8.0)
    mean = moving_mean(times=times, values=values, step_s=8, width_s=60)
    assert mean[-1] == pytest.approx(3.5)


def test_a_window_with_too_few_samples_is_missing() -> None:
    wind = np.full(1200, 4.0)
    wind[600:1199:2] = np.nan
    mean = moving_mean(times=SECONDS, values=wind, step_s=1)
    assert mean[599] == 4.0
    assert np.isnan(mean[1199])
    assert moving_mean(times=SECONDS, values=wind, step_s=1, least_share=0.4)[1199] == 4.0


def test_a_window_that_has_not_filled_yet_is_missing() -> None:
    mean = moving_mean(times=SECONDS, values=np.full(1200, 4.0), step_s=1)
    assert np.isnan(mean[:449]).all()
    assert not np.isnan(mean[450:]).any()


def test_directions_across_north_average_to_north() -> None:
    from_deg = np.where(SECONDS % 2 == 0, 350.0, 10.0)
    mean, spread = moving_direction(
        times=SECONDS, from_deg=from_deg, wind_m_s=np.full(1200, 3.0), step_s=1
    )
    assert min(mean[-1], 360.0 - mean[-1]) < 1e-9
    assert spread[-1] == pytest.approx(10.0081, abs=1e-4)


def test_a_mostly_calm_window_has_no_direction() -> None:
    wind = np.where(SECONDS % 3 == 0, 3.0, 0.2)
    mean, spread = moving_direction(
        times=SECONDS, from_deg=np.full(1200, 90.0), wind_m_s=wind, step_s=1
    )
    assert np.isnan(mean).all()
    assert np.isnan(spread).all()
