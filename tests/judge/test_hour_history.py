"""Past hours as a station measured them, and winds brought to one sensor."""

from collections.abc import Collection
from typing import Any

import numpy as np
import pytest

from watcher.judge.hour_history import put_hours, winds_at
from watcher.weather.series import QUANTITIES, Bound, Floats, Site, WeatherSeries
from watcher.weather.wind_profile import Surface, wind_at_height

SITE = Site(41.0, -96.0)
TIMES = 3600 * np.arange(4)
NAN = np.nan


def hours(at: list[int], bounds: dict[str, Bound] | None = None, **values: Any) -> WeatherSeries:
    return WeatherSeries.of(TIMES[at], SITE, "mast", values, bounds)


def put(
    station: WeatherSeries, measures: Collection[str], bounds: dict[str, Bound] | None = None
) -> dict[str, Floats]:
    values = {name: np.full(4, 9.0) for name in QUANTITIES}
    put_hours(values, TIMES, station, measures, bounds)
    return values


def test_what_is_known_of_an_hour_takes_its_place_and_nothing_else() -> None:
    values = put(hours([1, 2], temp_c=[5.0, NAN], humidity_pct=[50.0, 60.0]), {"temp_c"})
    assert values["temp_c"].tolist() == [9.0, 5.0, 9.0, 9.0]
    assert values["humidity_pct"].tolist() == [9.0] * 4


def test_no_gust_stands_without_the_wind_of_its_anemometer() -> None:
    gusts = {"gust_m_s": [6.0, 7.0], "wind_m_s": [3.0, NAN]}
    both = put(hours([1, 2], **gusts), {"gust_m_s", "wind_m_s"})
    assert both["gust_m_s"].tolist() == [9.0, 6.0, 9.0, 9.0]
    alone = put(hours([1, 2], **gusts), {"gust_m_s"})
    assert alone["gust_m_s"].tolist() == [9.0, 6.0, 7.0, 9.0]


def test_a_second_thermometer_stands_over_the_first_only() -> None:
    temps = {"temp_c": [5.0, NAN], "temp_upper_c": [6.0, 7.0]}
    both = put(hours([1, 2], **temps), {"temp_c", "temp_upper_c"})
    assert both["temp_upper_c"][1] == 6.0
    one = put(hours([1, 2], **temps), {"temp_c"})
    np.testing.assert_array_equal(one["temp_upper_c"], [9.0, NAN, 9.0, 9.0])


def test_bounds_of_an_hour_take_the_place_of_those_it_had() -> None:
    nothing = np.array([NAN, NAN])
    least, most = np.array([NAN, 5.0]), np.array([NAN, 9.0])
    station = hours([1, 2], {"gust_m_s": (least, most)}, gust_m_s=[6.0, NAN])
    bounds: dict[str, Bound] = {}
    values = put(station, {"gust_m_s"}, bounds)
    np.testing.assert_array_equal(values["gust_m_s"], [9.0, 6.0, NAN, 9.0])
    np.testing.assert_array_equal(bounds["gust_m_s"][0], [NAN, NAN, 5.0, NAN])
    np.testing.assert_array_equal(bounds["gust_m_s"][1], [NAN, NAN, 9.0, NAN])
    had: dict[str, Bound] = {"gust_m_s": (np.full(4, 1.0), np.full(4, 2.0))}
    put(hours([1, 2], {"gust_m_s": (nothing, nothing)}, gust_m_s=[6.0, NAN]), {"gust_m_s"}, had)
    np.testing.assert_array_equal(had["gust_m_s"][0], [1.0, NAN, 1.0, 1.0])


@pytest.mark.parametrize("side", [0, 1])
def test_one_side_is_enough_to_be_known(side: int) -> None:
    sides = [np.array([NAN]), np.array([NAN])]
    sides[side] = np.array([5.0])
    values = put(hours([1], {"wind_m_s": (sides[0], sides[1])}), {"wind_m_s"}, {})
    np.testing.assert_array_equal(values["wind_m_s"], [9.0, NAN, 9.0, 9.0])


def test_winds_go_to_another_sensor_with_their_bounds_and_gusts_keep_their_excess() -> None:
    site = Site(41.0, -96.0, wind_height_m=2.0, canopy_m=0.5)
    wind = np.array([4.0, NAN])
    bounds = {
        "wind_m_s": (np.array([NAN, 3.0]), np.array([NAN, 5.0])),
        "gust_m_s": (np.array([NAN, 6.0]), np.array([NAN, 8.0])),
    }
    own = hours([0, 1], bounds, wind_m_s=wind, gust_m_s=[7.0, NAN])
    found = winds_at(own, site)
    share = float(wind_at_height(wind_m_s=1.0, from_m=10.0, to_m=2.0, over=Surface.of_canopy(0.5)))
    assert found.wind_m_s[0] == pytest.approx(4.0 * share)
    assert found.gust_m_s[0] == pytest.approx(4.0 * share + 3.0)
    assert found.bounds["wind_m_s"][0][1] == pytest.approx(3.0 * share)
    assert found.bounds["wind_m_s"][1][1] == pytest.approx(5.0 * share)


def test_winds_of_the_same_sensor_stay_as_they_are() -> None:
    own = hours([0], wind_m_s=[4.0])
    assert winds_at(own, Site(50.0, 7.0)) is own
    for other in (Site(41.0, -96.0, wind_height_m=9.0), Site(41.0, -96.0, canopy_m=0.5)):
        assert winds_at(own, other).wind_m_s[0] != 4.0
