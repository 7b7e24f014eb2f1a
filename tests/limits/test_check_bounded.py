"""A value of which only the least or the most is known is judged by that, and told as that."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.judge.judgement import judge
from watcher.judge.reasons import Reason, reasons
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, Knowledge, between, bounded
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.weather.series import WeatherSeries

Weather = Callable[..., WeatherSeries]
NAN, INF = np.nan, np.inf
MPH = 0.44704
BROKEN, UNKNOWN, NEAR, HOLDS = LimitState
SPAN = {"scale": np.asarray(10.0), "margin": np.asarray(0.1)}


def checked(low: float, high: float, least: float, most: float) -> Checked:
    """A value that is not told, of which the least and the most may be."""
    sides = {"low": np.asarray(low), "high": np.asarray(high)}
    exact = bounded(Limit.GUST, np.array([NAN]), **sides, **SPAN)
    return between(Limit.GUST, exact, np.array([least]), np.array([most]), **SPAN)


@pytest.mark.parametrize(
    ("low", "high", "least", "most", "stand", "expected", "known"),
    [
        (-INF, 10, 2, 5, HOLDS, 5, Knowledge.AT_MOST),
        (-INF, 10, 2, 9.5, NEAR, 9.5, Knowledge.AT_MOST),
        (-INF, 10, 2, 10, NEAR, 10, Knowledge.AT_MOST),
        (-INF, 10, 2, 10.1, UNKNOWN, 10.1, Knowledge.AT_MOST),
        (-INF, 10, 10, 12, UNKNOWN, 12, Knowledge.AT_MOST),
        (-INF, 10, 10.1, 12, BROKEN, 10.1, Knowledge.AT_LEAST),
        (-INF, 10, 49, NAN, BROKEN, 49, Knowledge.AT_LEAST),
        (-INF, 10, 5, NAN, UNKNOWN, NAN, Knowledge.AT_MOST),
        (-INF, 10, NAN, 5, HOLDS, 5, Knowledge.AT_MOST),
        (3, 10, 5, 7, HOLDS, 5, Knowledge.AT_LEAST),
        (3, 10, 2, 7, UNKNOWN, 2, Knowledge.AT_LEAST),
        (3, 10, 1, 2, BROKEN, 2, Knowledge.AT_MOST),
        (3, 10, NAN, 7, UNKNOWN, NAN, Knowledge.AT_LEAST),
    ],
)
def test_a_bound_is_within_beyond_or_unknown(
    low: float,
    high: float,
    least: float,
    most: float,
    stand: LimitState,
    expected: float,
    known: Knowledge,
) -> None:
    found = checked(low, high, least, most)
    assert found.stand[0] == stand
    assert found.value[0] == pytest.approx(expected, nan_ok=True)
    assert found.known is not None
    assert found.known[0] == known
    assert np.isnan(found.headroom[0]) == (stand is UNKNOWN)


@given(
    low=st.floats(-20, 5),
    high=st.floats(5, 20),
    ends=st.tuples(st.floats(-30, 30), st.floats(-30, 30)).map(sorted),
    share=st.floats(0, 1),
)
def test_what_a_bound_says_is_so_for_every_value_within_it(
    low: float, high: float, ends: list[float], share: float
) -> None:
    found = LimitState(int(checked(low, high, *ends).stand[0]))
    value = ends[0] + share * (ends[1] - ends[0])
    value = min(max(value, ends[0]), ends[1])
    sides = {"low": np.asarray(low), "high": np.asarray(high)}
    exact = LimitState(int(bounded(Limit.GUST, np.array([value]), **sides, **SPAN).stand[0]))
    if found is BROKEN:
        assert exact is BROKEN
    elif found is not UNKNOWN:
        assert exact >= found


def test_where_nothing_is_bounded_nothing_changes() -> None:
    values = np.array([4.0, NAN, 12.0])
    sides = {"low": np.asarray(-INF), "high": np.asarray(10.0)}
    exact = bounded(Limit.GUST, values, **sides, **SPAN)
    none = np.full(3, NAN)
    found = between(Limit.GUST, exact, none, none, **SPAN)
    np.testing.assert_array_equal(found.stand, exact.stand)
    np.testing.assert_array_equal(found.headroom, exact.headroom)


def gust_reason(plan: FarmArrays, series: WeatherSeries) -> Reason:
    return next(r for r in reasons(judge(plan, series), 0, 0, 0) if r.limit is Limit.GUST)


def told_by_report(weather: Weather, wind_mph: float, **changes: Any) -> WeatherSeries:
    """A sky whose gusts are not told, as of reports that tell them from ten knots over the mean."""
    series = weather(wind_mph=wind_mph, gust_mph=NAN, **changes)
    wind = series.wind_m_s
    return series.bounded({"gust_m_s": (wind, wind + 10 * 1852 / 3600)})


def test_a_light_wind_whose_gust_is_not_told_is_judged(plan: FarmArrays, weather: Weather) -> None:
    """4 mph and at most 15.5: the worked farm's fields take 15 mph over their 10."""
    series = told_by_report(weather, 3.4)
    reason = gust_reason(plan, series)
    assert (reason.stand >= NEAR, reason.known) == (True, Knowledge.AT_MOST)
    assert (judge(plan, series).best[:, 0] != Status.UNKNOWN).all()
    unknown = weather(wind_mph=3.4, gust_mph=NAN)
    assert gust_reason(plan, unknown).stand is UNKNOWN


def test_where_the_gust_may_be_over_the_bound_it_is_unknown(
    plan: FarmArrays, weather: Weather
) -> None:
    reason = gust_reason(plan, told_by_report(weather, 8.0))
    assert reason.stand is UNKNOWN
    assert reason.missing == ("gust_m_s",)


def test_a_wind_beyond_what_can_be_told_is_surely_too_strong(
    plan: FarmArrays, weather: Weather
) -> None:
    series = weather(wind_mph=NAN, gust_mph=NAN)
    least = np.full(len(series), 49.0)
    judgement = judge(plan, series.bounded({"wind_m_s": (least, np.full(len(series), NAN))}))
    reason = next(r for r in reasons(judgement, 0, 0, 0) if r.limit is Limit.WIND)
    assert (reason.stand, reason.known) == (BROKEN, Knowledge.AT_LEAST)
    assert reason.value > 10 * MPH
    assert (judgement.best == Status.UNSUITABLE).all()


def rain_after(plan: FarmArrays, series: WeatherSeries) -> LimitState:
    found = reasons(judge(plan, series), 0, 0, 0)
    return next(r for r in found if r.limit is Limit.RAIN_AFTER).stand


def six_hours(weather: Weather, mm: float) -> WeatherSeries:
    """Rain told for six hours at once, from the fourth hour on."""
    rate = np.zeros(72)
    rate[3:9] = mm / 6
    series = weather(rain_mm_h=rate)
    least, most = np.full(72, NAN), np.full(72, NAN)
    least[3:9], most[3:9] = 0.0, mm
    return series.bounded({"rain_mm_h": (least, most)})


def test_rain_of_six_hours_is_dry_wet_or_not_known(plan_of: Any, tables: dict[str, Any]) -> None:
    from tests.support.worked_farm import fair_weather  # noqa: PLC0415

    for window in tables["windows"].values():
        window["rain_free_after"] = {"low": "6 h", "origin": "label"}
    plan = plan_of(tables)
    counts_from = plan.farm.config.judging.rain_counts_from
    assert rain_after(plan, six_hours(fair_weather, 0.5 * counts_from)) >= NEAR
    assert rain_after(plan, six_hours(fair_weather, 3 * counts_from)) is UNKNOWN
    assert rain_after(plan, six_hours(fair_weather, 9 * counts_from)) is BROKEN
