"""How often a station usually reports, learned from its readings."""

import numpy as np
import pytest

from watcher.weather.coverage import (
    LEAST_HOURS,
    WEEK_S,
    usual_counts,
    usual_step_s,
    whole_weeks,
)

HOUR = 3600
MONDAY = 2900 * WEEK_S


def hours(count: int, start: int = MONDAY) -> np.ndarray:
    return start + HOUR * np.arange(count)


@pytest.mark.parametrize("step", [1, 60, 300])
def test_the_usual_step_is_the_median_one(step: int) -> None:
    times = step * np.arange(40)
    assert usual_step_s(times) == step
    assert usual_step_s(np.delete(times, [3, 4, 5, 20])) == step


def test_three_readings_tell_nothing_of_the_usual_step() -> None:
    assert np.isnan(usual_step_s(np.array([0, 60, 120])))
    assert usual_step_s(np.array([0, 60, 120, 180])) == 60


def test_the_usual_count_is_the_median_of_the_hours_with_any() -> None:
    counts = np.array([0, 12, 12, 11, 12, 3, 0, 12, 0])
    assert usual_counts(hours(9), counts).tolist() == [12.0] * 9


def test_a_few_hours_tell_nothing_of_what_is_usual() -> None:
    few = np.array([12] * (LEAST_HOURS - 1) + [0])
    assert np.isnan(usual_counts(hours(LEAST_HOURS), few)).all()
    assert not np.isnan(usual_counts(hours(LEAST_HOURS), few + 1)).any()


def test_each_week_has_its_own() -> None:
    times = hours(2 * 7 * 24)
    counts = np.where(times < MONDAY + WEEK_S, 60, 12)
    np.testing.assert_array_equal(usual_counts(times, counts), counts)


def test_of_no_hours_there_is_nothing_usual() -> None:
    assert usual_counts(hours(0), np.zeros(0, np.int64)).size == 0


def test_whole_weeks_hold_what_lies_in_them() -> None:
    assert whole_weeks(MONDAY + 5, MONDAY + 6) == (MONDAY, MONDAY + WEEK_S)
    assert whole_weeks(MONDAY, MONDAY + WEEK_S) == (MONDAY, MONDAY + WEEK_S)
    assert whole_weeks(MONDAY - 1, MONDAY + 1) == (MONDAY - WEEK_S, MONDAY + WEEK_S)


def test_a_week_has_seven_days_and_six_hours_tell_of_it() -> None:
    assert WEEK_S == 604_800
    assert LEAST_HOURS == 6


def test_hours_with_a_single_reading_count() -> None:
    assert usual_counts(hours(7), np.array([0, 1, 1, 1, 1, 1, 1])).tolist() == [1.0] * 7
