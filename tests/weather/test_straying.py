"""How far a station's wind strays against the usual, learned of its log."""

from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from watcher.weather.mean_ahead import foretold
from watcher.weather.series import Site, WeatherSeries
from watcher.weather.straying import learn_spread_scale, windy_daylight
from watcher.weather.sun import elevation

DAY_MIN = 1440
MIDNIGHT = 1_750_032_000  # in Greenwich, in June


def _log(days: int, *, drift: float, wind: float = 4.0) -> WeatherSeries:
    """Days of a gusty wind that wanders slowly, by so much a minute."""
    rng = np.random.default_rng(5)
    slow = lfilter([drift], [1.0, -0.99], rng.normal(size=days * DAY_MIN))
    values = np.maximum(wind + slow + rng.normal(0.0, 0.5, slow.size), 0.0)
    times = MIDNIGHT + 60 * np.arange(values.size)
    return WeatherSeries.of(times, Site(52.0, 0.0), "made", {"wind_m_s": values})


def _scale(log: WeatherSeries) -> float:
    return learn_spread_scale(log, step_s=60)


def test_without_a_log_the_wind_strays_as_usual() -> None:
    assert _scale(_log(1, drift=0.1).at(slice(0, 0))) == 1.0


def test_a_restless_wind_strays_more_than_a_steady_one() -> None:
    assert _scale(_log(10, drift=0.02)) < 1.0 < _scale(_log(10, drift=0.3))


def test_one_day_moves_it_less_than_many() -> None:
    one, many = (_scale(_log(days, drift=0.02)) for days in (1, 10))
    assert 1.0 > one > many


def test_it_is_never_far_from_the_usual() -> None:
    steady = _log(40, drift=0.0, wind=40.0)
    jumps = np.where(steady.times // 2400 % 2, 5.0, 40.0)
    assert _scale(steady) == 0.7
    assert _scale(steady.having(wind_m_s=jumps)) == 1.5


def test_nights_and_calms_teach_nothing() -> None:
    log = _log(3, drift=0.3)
    night = log.having(wind_m_s=np.where((log.times // 3600) % 24 < 21, np.nan, log.wind_m_s))
    assert _scale(night) == 1.0
    assert _scale(log.having(wind_m_s=log.wind_m_s * 0.02)) == 1.0


def test_windy_daylight_is_a_sun_over_five_degrees_and_1_3_metres_a_second() -> None:
    """Around 8:00 in Greenwich at the equator at an equinox the sun is 30 degrees up; it climbs
    a degree in four minutes, so it passes five degrees at about 6:27 (equation of time: -7 min)."""
    equinox = 1_742_428_800  # 2025-03-20 00:00 UTC
    clock = equinox + 60 * np.array([6 * 60 + 25, 6 * 60 + 30, 480, 480])
    series = WeatherSeries.of(np.sort(clock) + np.arange(4), Site(0.0, 0.0), "made", {})
    found = windy_daylight(series, np.array([3.0, 3.0, 1.3, 1.29]))
    assert found.tolist() == [False, True, True, False]


def test_five_days_of_the_usual_straying_are_credited() -> None:
    """Ten hours of windy daylight are a day; by pandas from the same forecasts."""
    log = _log(1, drift=0.15)
    found = _strayed(log)
    scale = np.sqrt((5.0 + found.days * found.strayed) / (5.0 + found.days))
    assert 0.7 < scale < 1.5
    assert _scale(log) == pytest.approx(scale)


class _Strayed(NamedTuple):
    days: float
    strayed: float


def _strayed(log: WeatherSeries) -> _Strayed:
    """How far the means in five and ten minutes lay from what was foretold, in its errors."""
    minutes = pd.Series(log.wind_m_s)
    mean = minutes.rolling(10, min_periods=8).mean()
    sun = elevation(times=log.times, latitude=52.0, longitude=0.0)
    counts = (sun > 5.0) & (mean >= 1.3)
    expected, error = foretold(log, step_s=60)
    squares = [
        (((mean.shift(-h) - expected[h - 1]) / error[h - 1])[counts] ** 2).dropna() for h in (5, 10)
    ]
    every = pd.concat(squares)
    return _Strayed(every.size / 2 * 60 / 36_000, float(every.mean()))
