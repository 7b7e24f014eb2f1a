"""What rules are held against: the day's high, the rain ahead, the mean over a rule's own time."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from watcher.limits.rule_values import (
    DayHighs,
    RainAhead,
    averaged,
    each_run,
    local_days,
    wind_ends,
)
from watcher.weather.series import Site, WeatherSeries

ZONE = ZoneInfo("America/Chicago")
DAY = date(2026, 6, 10)


def hours_from(hour: int, count: int, **quantities: object) -> WeatherSeries:
    start = int(datetime(2026, 6, 10, hour, tzinfo=ZONE).timestamp())
    times = start + 3600 * np.arange(count)
    return WeatherSeries.of(times, Site(41.0, -96.0), "made", quantities)  # type: ignore[arg-type]


class TestDayHighs:
    def test_a_day_that_is_known_from_midnight_to_midnight_is_whole(self) -> None:
        temps = np.concatenate([np.full(24, 20.0), np.full(20, 25.0)])
        temps[14] = 31.0
        highs = DayHighs.of(hours_from(0, 44, temp_c=temps), ZONE)
        assert highs.first == DAY.toordinal()
        assert highs.high_c[:2].tolist() == [31.0, 25.0]
        assert highs.whole.tolist() == [True, False, False]

    def test_it_begins_with_the_day_of_the_first_hour(self) -> None:
        highs = DayHighs.of(hours_from(23, 4, temp_c=[18.0, 21.0, 20.0, 19.0]), ZONE)
        assert highs.first == DAY.toordinal()
        assert highs.high_c[:2].tolist() == [18.0, 21.0]
        assert not highs.whole.any()

    def test_a_missing_hour_leaves_the_day_unknown_but_not_its_high(self) -> None:
        temps = np.full(30, 20.0)
        temps[3] = np.nan
        highs = DayHighs.of(hours_from(0, 30, temp_c=temps), ZONE)
        assert (highs.high_c[0], highs.whole[0]) == (20.0, False)

    def test_of_other_days_nothing_is_known(self) -> None:
        highs = DayHighs.of(hours_from(0, 30, temp_c=np.full(30, 20.0)), ZONE)
        days = DAY.toordinal() + np.array([-1, 0, 3])
        high, whole = highs.on(days)
        np.testing.assert_array_equal(high, [np.nan, 20.0, np.nan])
        assert whole.tolist() == [False, True, False]


class TestRainAhead:
    def test_the_amount_is_of_the_time_and_known_as_far_as_the_rain_is(self) -> None:
        series = hours_from(0, 4, rain_mm_h=[1.0, 2.0, np.nan, 4.0])
        amount, known = RainAhead(series).amount_mm(series.times + 5400.0)
        assert amount.tolist() == pytest.approx([2.0, 2.0, 2.0, 4.0])
        assert known.tolist() == [True, False, False, False]

    def test_the_end_of_the_series_is_the_end_of_what_is_known(self) -> None:
        series = hours_from(0, 2, rain_mm_h=[0.0, 0.0])
        until = np.array([series.times[1] + 3600.0, series.times[1] + 3601.0])
        assert RainAhead(series).amount_mm(until)[1].tolist() == [True, False]

    def test_a_chance_at_its_bound_is_not_over_it(self) -> None:
        series = hours_from(0, 3, rain_chance_pct=[30.0, 31.0, 10.0])
        over, known = RainAhead(series).chance_over(30.0, series.times + 3600.0)
        assert over.tolist() == [False, True, False]
        assert known.all()


@pytest.mark.parametrize(
    ("averaging", "expected"),
    [("unstated", 4.0), (600.0, 4.0), (3600.0, 4.0), (3.0, 8.0), (1.0, 8.0)],
)
def test_a_mean_lies_between_ten_minutes_and_a_gust(averaging: object, expected: float) -> None:
    found = averaged(np.array([4.0]), np.array([8.0]), averaging)  # type: ignore[arg-type]
    assert found == pytest.approx([expected])


def test_it_rises_by_the_logarithm_of_the_time_and_a_gust_under_the_mean_is_none() -> None:
    # Half way between the logarithms of 600 s and 3 s lie 42.4 s.
    assert averaged(np.array([4.0]), np.array([8.0]), np.sqrt(1800.0)) == pytest.approx([6.0])
    assert averaged(np.array([4.0]), np.array([3.0]), 60.0) == pytest.approx([4.0])
    assert np.isnan(averaged(np.array([4.0]), np.array([np.nan]), 60.0)).all()


NAN = np.nan


class TestWindEnds:
    """Least and most of a wind of which bounds are known; the other stands for both ends."""

    def ends(self, **bounds: tuple[list[float], list[float]]) -> list[dict[str, list[float]]]:
        series = hours_from(0, 2, wind_m_s=[4.0, NAN], gust_m_s=[7.0, NAN])
        found = {n: (np.array(least), np.array(most)) for n, (least, most) in bounds.items()}
        return [
            {name: values.tolist() for name, values in side.items()}
            for side in wind_ends(series.bounded(found))
        ]

    def test_a_bounded_gust_leaves_the_wind_as_it_is(self) -> None:
        least, most = self.ends(gust_m_s=([5.0, NAN], [9.0, NAN]))
        np.testing.assert_array_equal(least["gust_m_s"], [5.0, NAN])
        np.testing.assert_array_equal(most["gust_m_s"], [9.0, NAN])
        np.testing.assert_array_equal(least["wind_m_s"], [4.0, NAN])
        np.testing.assert_array_equal(most["wind_m_s"], [4.0, NAN])

    def test_one_open_side_is_the_value_itself_where_there_is_one(self) -> None:
        least, most = self.ends(gust_m_s=([5.0, 6.0], [NAN, NAN]))
        np.testing.assert_array_equal(least["gust_m_s"], [5.0, 6.0])
        np.testing.assert_array_equal(most["gust_m_s"], [7.0, NAN])

    def test_both_may_be_bounded(self) -> None:
        least, most = self.ends(
            wind_m_s=([NAN, 3.0], [NAN, 5.0]), gust_m_s=([5.0, NAN], [9.0, NAN])
        )
        np.testing.assert_array_equal(least["wind_m_s"], [4.0, 3.0])
        np.testing.assert_array_equal(most["wind_m_s"], [4.0, 5.0])


def test_the_day_a_time_lies_in_is_the_farms_own() -> None:
    series = hours_from(23, 2)
    assert local_days(series, ZONE).tolist() == [DAY.toordinal(), DAY.toordinal() + 1]


def test_runs_are_taken_apart_whole() -> None:
    series = hours_from(0, 3, temp_c=[1.0, 2.0, 3.0])
    two = WeatherSeries(
        np.tile(series.times, 2), series.site, "made", temp_c=np.arange(6.0), runs=2
    )
    first, second = each_run(two)
    assert first.temp_c.tolist() == [0.0, 1.0, 2.0]
    assert second.temp_c.tolist() == [3.0, 4.0, 5.0]
    assert first.times.tolist() == second.times.tolist() == series.times.tolist()
    assert each_run(series) == [series]


def test_a_chance_at_the_end_of_the_time_does_not_count_and_one_not_known_leaves_it_open() -> None:
    series = hours_from(0, 4, rain_chance_pct=[10.0, 50.0, NAN, 10.0])
    over, known = RainAhead(series).chance_over(30.0, series.times + 3600.0)
    assert over.tolist() == [False, True, False, False]
    assert known.tolist() == [True, True, False, True]
    over, _ = RainAhead(series).chance_over(30.0, series.times + 3601.0)
    assert over[0]
