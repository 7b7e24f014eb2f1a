"""One look at a source: its own interval, its clock, its units, what was doubted and refused."""

from typing import Any

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.running import put_forecast
from watcher.farm import Farm
from watcher.source_view import SourceView, look_at_source, look_at_sources
from watcher.sources.base import Flag, Observations
from watcher.store import refused, weather
from watcher.store.database import Database
from watcher.store.recent import RecentWeather
from watcher.store.refused import Refused
from watcher.weather.series import Site, WeatherSeries

NOW = 1_781_107_200
SITE = Site(41.0, -96.0)


@pytest.fixture
def farm() -> Farm:
    config: dict[str, Any] = tables()
    config["sources"] = {"mast": {"kind": "push"}, "feed": {"kind": "met_norway"}}
    return build(config)


def keep(log: Database, times: np.ndarray, received: int | None = None, **values: Any) -> None:
    """Keep readings, each as it came in: two seconds late, or at ``received``."""
    given = {"wind_m_s": 3.0} | {n: v for n, v in values.items() if n != "flags"}
    for time in times.tolist():
        series = WeatherSeries.of([time], SITE, "mast", {n: [v] for n, v in given.items()})
        flags = {n: np.array([f], np.uint16) for n, f in values.get("flags", {}).items()}
        at = time + 2 if received is None else received
        with log.writing() as session:
            weather.add_observations(session, Observations(series, flags), at)


def look(log: Database, farm: Farm, now: int = NOW) -> SourceView:
    with log.reading() as session:
        one = look_at_source(RecentWeather(session, now), farm, "mast")
        assert one == look_at_sources(RecentWeather(session, now), farm)[0]
    return one


def test_a_station_is_as_old_as_its_newest_reading_beside_its_own_interval(
    log: Database, farm: Farm
) -> None:
    keep(log, NOW - 46 - 300 * np.arange(8)[::-1])
    sight = look(log, farm)
    assert (sight.age_s, sight.interval_s, sight.heard_s) == (46, 300.0, 44)
    assert (sight.clock_ahead_s, sight.silent, sight.sound) == (None, False, True)


def test_until_it_is_learned_the_farm_files_interval_stands_in(log: Database, farm: Farm) -> None:
    assert look(log, farm).interval_s == 60.0
    keep(log, np.array([NOW - 600, NOW - 300]))
    assert look(log, farm).interval_s == 60.0


def test_a_clock_ahead_is_no_fresh_reading(log: Database, farm: Farm) -> None:
    for minute in range(5):
        keep(log, np.array([NOW + 60 * minute + 3595]), NOW + 60 * minute)
    sight = look(log, farm, NOW + 245)
    assert (sight.age_s, sight.clock_ahead_s, sight.heard_s) == (None, 3595, 5)
    assert sight.silent
    assert not sight.sound


def test_one_post_from_the_future_is_enough(log: Database, farm: Farm) -> None:
    keep(log, np.array([NOW + 3600]), NOW)
    assert look(log, farm).clock_ahead_s == 3600


def test_a_clock_set_right_is_right_at_once(log: Database, farm: Farm) -> None:
    for minute in range(30):
        keep(log, np.array([NOW + 60 * minute + 3600]), NOW + 60 * minute)
    right = NOW + 1800 + 60 * np.arange(25)
    keep(log, right)
    sight = look(log, farm, int(right[-1]) + 10)
    assert (sight.clock_ahead_s, sight.age_s, sight.silent) == (None, 10, False)


def test_a_clock_behind_is_told_of_a_station_that_posts(log: Database, farm: Farm) -> None:
    for minute in range(6):
        keep(log, np.array([NOW + 60 * minute - 400]), NOW + 60 * minute)
    sight = look(log, farm, NOW + 300)
    assert sight.clock_ahead_s == -400
    assert sight.sound  # as old as it says, but no older than it may be


def test_readings_that_come_in_together_tell_by_the_newest_of_them(
    log: Database, farm: Farm
) -> None:
    for hour in range(6):
        at = NOW + 3600 * hour
        keep(log, at - 60 * np.arange(60)[::-1], at + 3)
    assert look(log, farm, NOW + 5 * 3600 + 60).clock_ahead_s is None


def test_a_table_of_long_ago_tells_nothing_of_the_clock(log: Database, farm: Farm) -> None:
    keep(log, NOW - 60 * np.arange(10)[::-1], 0)
    assert look(log, farm).clock_ahead_s is None


def test_what_was_doubted_is_counted_by_quantity_with_its_commonest_finding(
    log: Database, farm: Farm
) -> None:
    keep(log, NOW - 60 * np.arange(15, 30), temp_c=20.0)
    keep(log, NOW - 60 * np.arange(10, 15), temp_c=90.0, flags={"temp_c": Flag.RANGE})
    keep(log, NOW - 60 * np.arange(8, 10), temp_c=50.0, flags={"temp_c": Flag.STEP})
    [doubted] = look(log, farm).doubted
    assert (doubted.quantity, doubted.count, doubted.of) == ("temp_c", 7, 22)
    assert doubted.most is Flag.RANGE
    assert doubted.share == pytest.approx(7 / 22)


def test_other_units_are_suspected_by_the_forecast(log: Database, farm: Farm) -> None:
    put_forecast(log, NOW, temp_c=20.0)
    keep(log, NOW - 60 * np.arange(5)[::-1], temp_c=-6.7, humidity_pct=0.55)
    sight = look(log, farm)
    assert {name: str(unit) for name, unit in sight.units.items()} == {
        "temp_c": "°C sent as °F",
        "humidity_pct": "a fraction from 0 to 1, not %",
    }
    assert not sight.sound


def test_what_was_refused_in_its_name_is_told_and_others_not(log: Database, farm: Farm) -> None:
    with log.writing() as session:
        posts = [Refused(of, "token", 3, NOW - 9, "x", ("10.0.0.7",)) for of in ("mast", "")]
        refused.add(session, posts, NOW)
    assert look(log, farm).refused == {"token": posts[0]}
    assert look(log, farm, NOW + 2 * refused.DAY_S).refused == {}


def test_what_it_sends_beside_what_it_is_told_to_measure_is_named(
    log: Database, farm: Farm
) -> None:
    keep(log, np.array([NOW - 60]), pressure_pa=97_000.0)
    assert look(log, farm).unmeasured == ("pressure_pa",)
