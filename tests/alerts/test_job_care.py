"""Forgotten jobs, worn retardant, and what is coming on the wind."""

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.minutes import Minutes
from watcher.jobs import book
from watcher.sources.base import Observations
from watcher.store import jobs, weather
from watcher.weather.series import Site, WeatherSeries

# At boom height, so that bounds at the sensor are those of the field.
MAST = Site(41.0, -96.0, wind_height_m=0.12 + 0.508)
MPH = 0.44704


@pytest.fixture
def watch(store, farm):
    return Minutes(store, farm)


def test_a_job_half_an_hour_over_its_time_is_asked_about_and_again_after_two_hours(watch):
    watch.start()  # planned for 43 min
    assert watch.see(minutes=72) == []
    assert watch.see(minutes=3) == ["Still spraying creek side?"]
    assert watch.newest().startswith(
        "The job on creek side was planned to end at 11:42, 30 min ago"
    )
    assert watch.see(minutes=110) == []
    assert watch.see(minutes=15) == ["Still spraying creek side?"]


def test_pauses_push_the_planned_end_back(watch, store):
    job = watch.start()
    watch.see()
    with store.writing() as session:
        jobs.pause(session, job, watch.now)
    assert watch.see(minutes=100) == []


def with_polymer(store):
    told = tables()
    told["setups"]["coarse"] |= {"adjuvant": "polyacrylamide"}
    told["setups"]["fine"] |= {"adjuvant": "guar"}
    # One tank lasts longer than an hour, so that nothing is filled anew.
    told["sprayers"]["boom"] |= {"tank": "9000 gal", "speed": "3 mph"}
    return Minutes(store, build(told))


def test_polyacrylamide_is_told_worn_after_an_hour_in_the_pump(store):
    watch = with_polymer(store)
    watch.start("hill", "coarse")
    assert watch.see(minutes=59) == []
    assert watch.see(minutes=2) == ["Retardant worn: hill"]
    assert watch.see(minutes=30) == []


def test_guar_does_not_wear(store):
    watch = with_polymer(store)
    watch.start("hill", "fine")
    assert watch.see(minutes=70) == []


def events(*steps):
    """The steps of a job at minutes after its start."""
    return [jobs.JobEvent(at=60 * minute, what=what, detail={}) for minute, what in steps]


@pytest.mark.parametrize(
    ("sentence", "steps", "paused_s", "paused_at", "now_min", "age_min"),
    [
        ("the first tank, no pause", [(0, "started")], 0, None, 20, 20),
        ("the second tank of half an hour each", [(0, "started")], 0, None, 40, 10),
        (
            "a pause keeps it going round",
            [(0, "started"), (10, "paused"), (25, "resumed")],
            900,
            None,
            30,
            30,
        ),
        ("still in the pause", [(0, "started"), (10, "paused")], 0, 600, 30, 30),
        (
            "the second tank was begun before the pause",
            [(0, "started"), (40, "paused"), (60, "resumed")],
            1200,
            None,
            65,
            35,
        ),
        (
            "the second tank was begun after the pause",
            [(0, "started"), (20, "paused"), (40, "resumed")],
            1200,
            None,
            65,
            15,
        ),
    ],
)
def test_how_long_a_tank_has_been_going_round(
    sentence, steps, paused_s, paused_at, now_min, age_min
):
    job = jobs.Job(started_at=0, paused_s=paused_s, paused_at=paused_at)
    age = book.tank_age_s(job, events(*steps), tank_s=1800.0, now=60 * now_min)
    assert age == pytest.approx(60 * age_min), sentence


def measured(watch, wind_mph, gust_mph, **more):
    """The mast's readings of the last minutes, a minute apart, up to the next minute."""
    count = len(wind_mph)
    times = watch.now + 60 - 60 * np.arange(count)[::-1]
    told = {
        "wind_m_s": np.asarray(wind_mph) * MPH,
        "gust_m_s": np.asarray(gust_mph) * MPH,
        "wind_from_deg": np.zeros(count),
        "temp_c": np.full(count, 20.0),
        "pressure_pa": np.full(count, 97_000.0),
    } | more
    with watch.store.writing() as session:
        readings = Observations(WeatherSeries.of(times, MAST, "mast", told))
        weather.add_observations(session, readings, watch.now)


def test_a_steadily_rising_wind_is_told_before_it_crosses_its_bound(watch):
    watch.start()
    watch.see()
    wind = 3.0 + 6.4 * np.arange(45) / 44
    measured(watch, wind, wind * 1.2)
    (title,) = watch.see(wind_mph=8.4, gust_mph=11.0)
    assert title == "Rising: creek side, 10 mph in 9 min"
    assert "The wind has been rising by 1 mph in ten minutes;" in watch.newest()
    assert "Finish the pass and be ready to stop." in watch.newest()


def test_a_gust_front_is_told_by_its_signs_together(watch):
    watch.start()
    watch.see()
    wind = np.append(np.full(44, 5.0), [11.0])
    measured(
        watch,
        wind,
        wind * 1.2,
        wind_from_deg=np.append(np.zeros(44), [80.0]),
        temp_c=np.append(np.full(44, 20.0), [17.0]),
        pressure_pa=np.append(np.full(44, 97_000.0), [97_080.0]),
    )
    (title,) = watch.see(wind_mph=5.6, gust_mph=12.5)
    assert title == "Gust front: creek side, stop now"
    assert (
        "Within minutes: wind up 6 mph, wind turned 80°, air 5.4 °F cooler, pressure up 0.8 hPa."
        in watch.newest()
    )
    assert watch.see(minutes=5, wind_mph=5.6, gust_mph=12.5) == []


def test_a_front_that_comes_with_a_bound_growing_near_is_told_as_the_front(watch):
    watch.start()
    watch.see()
    wind = np.append(np.full(44, 5.0), [11.0])
    measured(watch, wind, wind * 1.2, wind_from_deg=np.append(np.zeros(44), [80.0]))
    assert watch.see(wind_mph=5.6, gust_mph=13.2) == ["Gust front: creek side, stop now"]
    assert "Gust 13 mph, bound 15 (own), 2 mph of room." in watch.newest()


def test_what_was_foreseen_and_did_not_come_is_called_off(watch):
    watch.start()
    watch.see()
    wind = np.append(np.full(44, 5.0), [11.0])
    turned = np.append(np.zeros(44), [80.0])
    measured(watch, wind, wind * 1.2, wind_from_deg=turned)
    assert watch.see(wind_mph=5.6, gust_mph=12.5) == ["Gust front: creek side, stop now"]
    told = []
    for _ in range(14):
        measured(watch, np.full(30, 5.0), np.full(30, 6.0))
        told += watch.see()
    assert told == ["All clear: creek side"]
    assert "What was foreseen has not come, and there is no more sign of it." in watch.newest()


def front(watch):
    wind = np.append(np.full(44, 5.0), [11.0])
    measured(watch, wind, wind * 1.2, wind_from_deg=np.append(np.zeros(44), [80.0]))


def calm_again(watch, minutes=14, **weather):
    told = []
    for _ in range(minutes):
        measured(watch, np.full(30, 5.0), np.full(30, 6.0))
        told += watch.see(**weather)
    return told


def test_whoever_pauses_on_a_warning_is_told_when_it_is_over(watch, store):
    job = watch.start()
    watch.see()
    front(watch)
    assert watch.see(wind_mph=5.6, gust_mph=12.5) == ["Gust front: creek side, stop now"]
    with store.writing() as session:
        jobs.pause(session, job, watch.now)
    assert watch.see(minutes=5, wind_mph=12.0, gust_mph=18.0) == []
    assert calm_again(watch) == ["All clear: creek side"]
    assert "Back in its window" in watch.newest()


def test_nothing_is_clear_for_a_paused_job_while_any_bound_is_broken(watch, store):
    job = watch.start()
    watch.see()
    front(watch)
    watch.see(wind_mph=5.6, gust_mph=12.5)
    with store.writing() as session:
        jobs.pause(session, job, watch.now)
    assert calm_again(watch, temp_c=36.0, humidity_pct=15.0) == []


def test_a_job_left_paused_is_asked_about_as_paused(watch, store):
    job = watch.start()
    watch.see()
    with store.writing() as session:
        jobs.pause(session, job, watch.now)
    told = watch.see(minutes=260)
    assert told[0] == "Still paused: creek side"


def test_a_broken_bound_needs_no_warning_of_itself(watch):
    watch.start()
    watch.see()
    wind = 4.0 + 8.0 * np.arange(45) / 44
    measured(watch, wind, wind * 1.2)
    assert watch.see(wind_mph=11.0, gust_mph=14.0) == ["Stop: creek side, wind 11 mph"]
    measured(watch, wind, wind * 1.2)
    assert watch.see(minutes=2, wind_mph=11.0, gust_mph=14.0) == []


def test_readings_of_a_feed_every_twenty_minutes_foretell_nothing(watch):
    watch.start()
    watch.see()
    times = watch.now + 60 - 1200 * np.arange(4)[::-1]
    sparse = WeatherSeries.of(times, MAST, "mast", {"wind_m_s": [2.0, 3.0, 4.0, 4.4]})
    with watch.store.writing() as session:
        weather.add_observations(session, Observations(sparse), watch.now)
    assert watch.see() == []
