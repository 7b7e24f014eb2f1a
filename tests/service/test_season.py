"""Past seasons from the log: the same hours whatever block they are judged in, and who speaks."""

from typing import Any

import numpy as np
import pytest

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from watcher.farm import Farm
from watcher.judge.judgement import judge
from watcher.judge.season import tally
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.history import past_hours
from watcher.service.season import add_up
from watcher.sources.base import Flag, Forecast, Observations
from watcher.store import aggregates, weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

pytestmark = pytest.mark.long

START = 1_777_611_600  # 2026-05-01 00:00 in Chicago's zone
HOUR, DAY = 3600, 86_400
MAST = Site(LATITUDE, LONGITUDE, wind_height_m=3.0)
MEASURES = ["wind", "gust", "wind_from", "temperature", "humidity", "rain"]


@pytest.fixture
def farm() -> Farm:
    config: dict[str, Any] = tables()
    config["sources"] = {
        "mast": {"kind": "push", "heights": {"wind": "3 m"}, "measures": MEASURES},
        "yard": {"kind": "push", "heights": {"wind": "3 m"}, "measures": MEASURES},
        "feed": {"kind": "met_norway"},
    }
    return build(config)


def minutes(start: int, end: int, step_s: int = 120, **changed: Any) -> WeatherSeries:
    times = np.arange(start, end, step_s)
    day = 2 * np.pi * ((times - START) % DAY) / DAY
    values = {
        "wind_m_s": 2.0 - 1.2 * np.cos(day),
        "gust_m_s": 3.2 - 1.6 * np.cos(day),
        "wind_from_deg": np.full(times.size, 180.0),
        "temp_c": 18.0 - 6.0 * np.cos(day),
        "humidity_pct": 60.0 + 20.0 * np.cos(day),
        "rain_mm_h": np.where((times - START) % (5 * DAY) < 2 * HOUR, 1.0, 0.0),
    } | {name: np.broadcast_to(value, times.size) for name, value in changed.items()}
    return WeatherSeries.of(times, MAST, "mast", values)


def keep(log: Database, series: WeatherSeries, flags: dict[str, np.ndarray] | None = None) -> None:
    with log.writing() as session:
        weather.add_observations(session, Observations(series, flags or {}), 0)


def cloudy(log: Database, issued_at: int, cloud: float, hours: int = 60) -> None:
    times = issued_at // HOUR * HOUR + HOUR * np.arange(hours)
    values = {"cloud_pct": np.full(hours, cloud), "wind_m_s": np.full(hours, 30.0)}
    site = Site(LATITUDE, LONGITUDE, elevation_m=350.0)
    series = WeatherSeries.of(times, site, "feed", values)
    with log.writing() as session:
        weather.add_forecast(session, Forecast(series, issued_at, issued_at, "invented"))


def hours_of(log: Database, farm: Farm, start: int, end: int) -> WeatherSeries:
    with log.reading() as session:
        return past_hours(session, farm, start, end)


@pytest.fixture
def filled(log: Database) -> Database:
    keep(log, minutes(START - 3 * DAY, START + 23 * DAY))
    for day in range(-3, 23):
        cloudy(log, START + day * DAY, cloud=60.0)
    return log


class TestWhoSpeaks:
    def test_an_hour_is_its_mean_and_its_highest_gust(self, log: Database, farm: Farm) -> None:
        keep(log, minutes(START, START + HOUR, 60, wind_m_s=3.0, gust_m_s=np.arange(60.0)))
        series = hours_of(log, farm, START, START + HOUR)
        assert (series.wind_m_s[0], series.gust_m_s[0]) == (3.0, 59.0)

    def test_an_hour_of_too_few_readings_is_none(self, log: Database, farm: Farm) -> None:
        """Sixty are due: the mast posts every minute."""
        keep(log, minutes(START, START + 29 * 60, 60))
        keep(log, minutes(START + HOUR, START + HOUR + 30 * 60, 60))
        series = hours_of(log, farm, START, START + 2 * HOUR)
        assert np.isnan(series.wind_m_s).tolist() == [True, False]

    def test_a_station_that_posts_every_five_minutes_makes_whole_hours(
        self, log: Database, farm: Farm
    ) -> None:
        """The farm file's interval was left at a minute."""
        keep(log, minutes(START, START + 10 * HOUR, 300))
        keep(log, minutes(START + 10 * HOUR, START + 10 * HOUR + 25 * 60, 300))
        known = np.isfinite(hours_of(log, farm, START, START + 11 * HOUR).wind_m_s)
        assert known.tolist() == [True] * 10 + [False]

    def test_an_hour_is_whole_or_not_in_whatever_stretch_it_is_asked_for(
        self, log: Database, farm: Farm
    ) -> None:
        keep(log, minutes(START, START + 10 * HOUR, 300))
        for first in range(0, 10, 3):
            one = hours_of(log, farm, START + first * HOUR, START + (first + 1) * HOUR)
            assert np.isfinite(one.wind_m_s).tolist() == [True]

    def test_a_thermometer_that_is_read_less_often_than_the_wind_makes_whole_hours(
        self, log: Database, farm: Farm
    ) -> None:
        times = np.arange(START, START + 10 * HOUR, 60)
        temp = np.where(times % 300 == 0, 18.0, np.nan)
        keep(log, minutes(START, START + 10 * HOUR, 60, temp_c=temp))
        series = hours_of(log, farm, START, START + 10 * HOUR)
        assert np.isfinite(series.temp_c).all()

    def test_nor_is_one_of_flagged_ones(self, log: Database, farm: Farm) -> None:
        flags = {"temp_c": np.full(60, Flag.STUCK, np.uint16)}
        keep(log, minutes(START, START + HOUR, 60), flags)
        series = hours_of(log, farm, START, START + HOUR)
        assert np.isnan(series.temp_c[0])
        assert np.isfinite(series.wind_m_s[0])

    def test_the_next_station_speaks_where_the_first_was_silent(
        self, log: Database, farm: Farm
    ) -> None:
        keep(log, minutes(START, START + HOUR, 60, temp_c=10.0))
        other = minutes(START, START + 2 * HOUR, 60, temp_c=15.0)
        keep(log, WeatherSeries.of(other.times, MAST, "yard", other.quantities()))
        assert hours_of(log, farm, START, START + 2 * HOUR).temp_c.tolist() == [10.0, 15.0]

    def test_a_forecast_speaks_only_for_what_no_station_measures(
        self, log: Database, farm: Farm
    ) -> None:
        cloudy(log, START, cloud=40.0)
        series = hours_of(log, farm, START, START + 2 * HOUR)
        assert series.cloud_pct.tolist() == [40.0, 40.0]
        assert np.isnan(series.wind_m_s).all()

    def test_the_last_one_before_the_hour_does(self, log: Database, farm: Farm) -> None:
        cloudy(log, START, cloud=40.0)
        cloudy(log, START + 2 * HOUR, cloud=50.0)
        cloudy(log, START + 2 * HOUR + 60, cloud=90.0)
        series = hours_of(log, farm, START, START + 5 * HOUR)
        assert series.cloud_pct.tolist() == [40.0, 40.0, 50.0, 90.0, 90.0]

    def test_how_high_above_the_sea_it_is_the_forecast_says(
        self, log: Database, farm: Farm
    ) -> None:
        assert hours_of(log, farm, START, START + HOUR).site.elevation_m == 0.0
        cloudy(log, START, cloud=40.0)
        site = hours_of(log, farm, START, START + HOUR).site
        assert (site.elevation_m, site.wind_height_m) == (350.0, 3.0)

    def test_one_of_more_than_a_day_before_does_not(self, log: Database, farm: Farm) -> None:
        cloudy(log, START, cloud=40.0)
        series = hours_of(log, farm, START + 23 * HOUR, START + 25 * HOUR)
        assert series.cloud_pct[0] == 40.0
        assert np.isnan(series.cloud_pct[1])


@pytest.mark.parametrize("made", [False, True])
def test_blocks_of_any_length_give_the_same_sums(filled: Database, farm: Farm, made: bool) -> None:
    plan = FarmArrays.of(farm)
    if made:
        more = True
        while more:
            with filled.writing() as session:
                more = aggregates.tend(session, START + 40 * DAY, keep_raw_s=7 * DAY).more
    with filled.reading() as session:
        found = [
            add_up(session, plan, START, START + 20 * DAY, block_s=block)
            for block in (28 * DAY, 7 * DAY, DAY, 5 * HOUR)
        ]
    for other in found[1:]:
        np.testing.assert_array_equal(other.hours, found[0].hours)
        assert other.bound.keys() == found[0].bound.keys()
    assert found[0].hours.sum() == 2 * 480
    assert found[0].open_hours.min() > 50


def test_the_sums_are_those_of_one_judgement_of_it_all(filled: Database, farm: Farm) -> None:
    plan = FarmArrays.of(farm)
    with filled.reading() as session:
        series = past_hours(session, farm, START - 2 * DAY, START + 22 * DAY)
        found = add_up(session, plan, START, START + 20 * DAY, block_s=3 * DAY)
    inside = (series.times >= START) & (series.times < START + 20 * DAY)
    wanted = tally(judge(plan, series), inside)
    np.testing.assert_array_equal(found.hours, wanted.hours)


def test_hours_without_readings_are_unknown(log: Database, farm: Farm) -> None:
    with log.reading() as session:
        found = add_up(session, FarmArrays.of(farm), START, START + DAY)
    # At night nothing has to be known for a field to be closed; nothing is ever open.
    assert (found.open_hours == 0).all()
    assert (found.hours[:, Status.UNKNOWN] > 8).all()


def test_months_are_those_of_the_farms_calendar(filled: Database, farm: Farm) -> None:
    """The first of May begins at 05:00 UTC in Chicago's zone."""
    plan = FarmArrays.of(farm)
    with filled.reading() as session:
        may = add_up(session, plan, START - 2 * DAY, START + 3 * DAY, months=[5])
        from_may = add_up(session, plan, START, START + 3 * DAY)
        none = add_up(session, plan, START - 2 * DAY, START + 3 * DAY, months=[1])
    np.testing.assert_array_equal(may.hours, from_may.hours)
    assert none.hours.sum() == 0
