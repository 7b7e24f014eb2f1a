"""The present judged by itself: it comes to what judging all times at once comes to."""

from dataclasses import dataclass, field, fields, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import mixed_farm
from watcher.judge.farm_judgement import judge_each
from watcher.judge.judgement import Judgement
from watcher.judge.present import Present
from watcher.judge.ranking import rank
from watcher.limits.check import Checked
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.series import WeatherSeries

HOURS, NOW = 60, 30
WINDOW: dict[str, Any] = {
    "wind": {"low": "2 mph", "high": "12 mph"},
    "humidity": {"low": "45 %"},
    "rain_free_before": {"low": "2 h"},
    "leaf_dry_before": {"low": "1 h"},
    "after_sunrise": {"low": "1 h"},
    "before_sunset": {"low": "1 h"},
}


@dataclass(frozen=True)
class Look:
    fields: tuple[str, ...]
    series: WeatherSeries
    wind_uncertainty_m_s: float = 0.2
    expects: dict[str, np.ndarray] = field(default_factory=dict)


RULES = (
    {"kind": "day high", "high": "30 degC", "origin": "label"},
    {"kind": "rain ahead", "within": "6 h", "amount": "1 mm", "origin": "label"},
)


@cache
def ruled_farm() -> FarmArrays:
    """A farm of many kinds of fields, every third under rules on the day and on rain to come."""
    farm = mixed_farm()
    window = farm.config.windows["daylight"]
    ruled = type(window).model_validate(WINDOW | {"rules": list(RULES)})
    windows = {**farm.config.windows, "daylight": ruled}
    return FarmArrays.of(replace(farm, config=farm.config.model_copy(update={"windows": windows})))


def weather(minute: int, **now: float) -> WeatherSeries:
    """Changeable hours, with a present some minutes after the hour that has just begun."""
    whole = changeable_weather(HOURS)
    changed: dict[str, Any] = {name: np.array(a) for name, a in whole.quantities().items()}
    for name, value in now.items():
        changed[name][NOW - 1 : NOW + 1] = value
    times = np.array(whole.times)
    times[NOW] = times[NOW - 1] + 60 * minute
    return replace(whole, times=times, **changed)


def same(ours: Judgement, anew: Judgement) -> None:
    for what in ("instant", "status", "breaks_at", "share_done", "best", "closes"):
        np.testing.assert_array_equal(getattr(ours, what), getattr(anew, what), what)
    for what in ("wind_m_s", "gust_m_s", "band", "doubt_m_s"):
        np.testing.assert_array_equal(getattr(ours.boom, what), getattr(anew.boom, what), what)
    for what in ("finding", "obukhov_m", "stability"):
        np.testing.assert_array_equal(getattr(ours.inversion, what), getattr(anew.inversion, what))
    np.testing.assert_array_equal(ours.drift.upper_pct, anew.drift.upper_pct)
    shape = anew.instant.shape
    for a, b in zip(ours.checks, anew.checks, strict=True):
        assert a.limit is b.limit
        for part in fields(Checked)[1:]:
            one, two = (getattr(each, part.name) for each in (a, b))
            if one is None or two is None:
                assert one is None or not one.any() or part.name == "rule"
                continue
            np.testing.assert_allclose(
                np.broadcast_to(one, shape), np.broadcast_to(two, shape), rtol=1e-9, atol=1e-9
            )
    assert ours.apart.keys() == anew.apart.keys()


def ranked(judgement: Judgement) -> list[dict[str, Any]]:
    ranking = rank(judgement, NOW)
    return [
        vars(one) | {"case": None, "limit": one.shut_by, "binding": one.binding.limit}
        for one in (*ranking.spray, *ranking.rest)
    ]


def looks(plan: FarmArrays, stations: int, series: WeatherSeries) -> list[Look]:
    windier = series.having(wind_m_s=series.wind_m_s * 1.6, temp_c=series.temp_c + 2.0)
    given = (series, windier)[:stations]
    return [Look(plan.fields[n::stations], each) for n, each in enumerate(given)]


measured = st.fixed_dictionaries(
    {
        "minute": st.integers(1, 59),
        "wind_m_s": st.floats(0, 9),
        "gust_m_s": st.floats(0, 14),
        "wind_from_deg": st.floats(0, 359),
        "temp_c": st.floats(2, 38),
        "humidity_pct": st.floats(20, 100),
        "rain_mm_h": st.sampled_from([0.0, 0.0, 0.0, 1.0, np.nan]),
    }
)


def test_a_reading_leaves_the_hours_ahead_as_they_were_judged() -> None:
    plan, present = ruled_farm(), Present()
    for minute in range(1, 11):
        reading = {"wind_m_s": 2.0 + minute / 10, "temp_c": 15.0, "rain_mm_h": 0.0}
        ours = present.judge(plan, looks(plan, 1, weather(minute, **reading)), NOW)
        assert float(ours.series.wind_m_s[NOW]) == reading["wind_m_s"]
    assert present.judged_ahead == 1


@pytest.mark.parametrize(
    "changed",
    [
        {"rain_mm_h": 1.0},  # from now on it is counted how long it has been dry
        {"humidity_pct": 95.0},  # dew
        {"temp_c": 39.0},  # the day's high
    ],
)
def test_what_is_measured_now_and_counts_later_has_them_judged_again(
    changed: dict[str, float],
) -> None:
    plan, present = ruled_farm(), Present()
    dry = {"temp_c": 15.0, "humidity_pct": 50.0, "rain_mm_h": 0.0}
    for reading in (dry, dry, dry | changed):
        present.judge(plan, looks(plan, 1, weather(5, **reading)), NOW)
    assert present.judged_ahead == 2


@settings(max_examples=15, deadline=None)
@given(readings=st.lists(measured, min_size=2, max_size=5), stations=st.sampled_from([1, 2]))
def test_reading_by_reading_comes_to_what_judging_all_at_once_does(
    readings: list[dict[str, Any]], stations: int
) -> None:
    plan, present = ruled_farm(), Present()
    for reading in readings:
        each = looks(plan, stations, weather(**reading))
        ours, anew = present.judge(plan, each, NOW), judge_each(plan, each)
        same(ours, anew)
        for index, own in ours.apart.items():
            same(own, anew.apart[index])
        assert ranked(ours) == ranked(anew)
