"""A pressure jump as it was measured, minute by minute.

ARM (US Department of Energy), surface meteorology at the Southern Great Plains site, extended
facility E13, 2019-01-03, 15:20 to 16:15 UTC: one-minute means of wind (m/s), direction (degrees),
temperature (°C) and pressure (hPa). Gravity waves are about beforehand; from 15:50 the pressure
jumps by 1.8 hPa, the wind turns from northwest to south and grows from 1 to over 4 m/s.
"""

import numpy as np
import pytest

from watcher.weather.fronts import gust_front
from watcher.weather.nowcast import nowcast
from watcher.weather.series import Site, WeatherSeries

ROWS = """
1.82 304 0.27 981.9
1.64 309 0.19 981.8
1.58 315 0.21 981.7
1.68 316 0.27 981.7
1.88 326 0.31 981.6
2.03 318 0.31 981.6
1.81 322 0.29 981.6
2.0 324 0.25 981.6
1.89 344 0.28 981.6
2.12 341 0.18 981.6
1.7 336 0.16 981.7
1.75 350 0.17 981.7
1.72 351 0.23 981.7
1.68 356 0.24 981.7
1.53 349 0.24 981.8
1.47 345 0.23 981.9
1.0 333 0.2 981.9
0.8 334 0.23 982.0
0.56 314 0.28 982.0
0.76 281 0.32 982.0
1.46 272 0.36 982.0
1.5 276 0.35 982.0
1.39 278 0.34 981.9
1.63 284 0.36 981.9
1.73 290 0.37 981.7
1.82 302 0.34 981.6
1.76 312 0.36 981.5
1.72 314 0.35 981.5
1.37 314 0.35 981.6
0.97 299 0.38 981.7
0.95 275 0.43 981.9
1.01 252 0.44 982.2
1.43 213 0.46 982.4
1.86 204 0.49 982.6
2.12 198 0.48 982.7
2.64 195 0.47 982.7
2.8 189 0.42 982.8
3.07 187 0.44 982.9
3.9 194 0.44 983.0
4.27 192 0.41 983.2
4.83 191 0.42 983.3
4.45 188 0.42 983.4
4.48 187 0.43 983.4
3.89 182 0.41 983.4
4.33 185 0.43 983.3
4.24 180 0.4 983.3
4.31 181 0.39 983.2
3.62 173 0.36 983.2
4.39 177 0.36 983.2
4.27 177 0.32 983.3
4.04 179 0.35 983.2
4.37 182 0.37 983.2
4.49 185 0.32 983.1
3.83 180 0.29 983.0
3.52 176 0.28 983.0
3.11 166 0.35 983.1
"""
FIRST = 15 * 60 + 20  # minute of the day


@pytest.fixture
def series() -> WeatherSeries:
    wind, bearing, temp, pressure = np.array([line.split() for line in ROWS.split("\n")[1:-1]]).T
    return WeatherSeries.of(
        60 * (FIRST + np.arange(wind.size)),
        Site(latitude=36.605, longitude=-97.485, elevation_m=318.0),
        "ARM",
        {
            "wind_m_s": wind,
            "wind_from_deg": bearing,
            "temp_c": temp,
            "pressure_pa": 100.0 * pressure.astype(np.float64),
        },
    )


def _minute(hour: int, minute: int) -> int:
    return 60 * hour + minute - FIRST


def test_the_front_is_told_before_the_wind_has_grown(series: WeatherSeries) -> None:
    warns = gust_front(series, step_s=60).warns
    over = int(np.argmax(series.wind_m_s > 4.0))
    assert over == _minute(15, 59)
    first = _minute(15, 45) + int(np.argmax(warns[_minute(15, 45) :]))
    assert warns[first]
    assert over - first >= 4


def test_it_is_told_by_turn_and_pressure(series: WeatherSeries) -> None:
    front = gust_front(series, step_s=60)
    jump = _minute(15, 55)
    assert front.wind_turned[jump]
    assert front.pressure_rose[jump]
    assert not front.air_cooled[jump]


def test_the_waves_before_it_tell_nothing(series: WeatherSeries) -> None:
    assert not gust_front(series, step_s=60).warns[: _minute(15, 48)].any()


def test_a_bound_of_three_metres_a_second_is_warned_of(series: WeatherSeries) -> None:
    now = nowcast(series, wind_bound_m_s=3.0, gust_bound_m_s=np.inf, step_s=60)
    over = int(np.argmax(now.crossing.warns))
    assert now.crossing.warns[over]
    assert now.front.warns[over - 8]
    assert now.mean_ahead.warns[over - 1]
