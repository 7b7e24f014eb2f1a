"""Forgotten jobs, worn retardant, and what is coming on the wind."""

import numpy as np
import pytest

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.minutes import MAST, Minutes
from watcher.jobs import commands
from watcher.sources.base import Observations
from watcher.store import jobs, weather
from watcher.weather.series import WeatherSeries


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
        job_steps.pause(session, job, watch.now)
    assert watch.see(minutes=59) == []
    with store.writing() as session:
        job_steps.resume(session, job, watch.now)
    assert watch.see(minutes=41) == []


def with_polymer(store):
    config = tables()
    config["setups"]["coarse"] |= {"adjuvant": "polyacrylamide"}
    config["setups"]["fine"] |= {"adjuvant": "guar"}
    # One tank lasts longer than an hour, so that nothing is filled anew.
    config["sprayers"]["boom"] |= {"tank": "9000 gal", "speed": "3 mph"}
    return Minutes(store, build(config))


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
    age = commands.tank_age_s(job, events(*steps), tank_s=1800.0, now=60 * now_min)
    assert age == pytest.approx(60 * age_min), sentence


def near_the_bound(watch, mph):
    """A steady wind close under its bound of 10 mph."""
    watch.measure(np.full(70, mph), np.full(70, 11.0))


LIKELY = "Get ready creek side: too windy, 4 in 10"


def test_a_wind_likely_to_pass_its_bound_is_told_with_its_chance(watch):
    watch.start()
    watch.see()
    near_the_bound(watch, 9.8)
    assert watch.see() == [LIKELY]
    assert "The wind passes 10 mph within ten minutes with a chance of 4 in 10." in watch.newest()
    assert "A gust over 15 mph comes with a chance of less than 1 in 10." in watch.newest()
    assert "Finish the pass and be ready to stop." in watch.newest()


def test_it_is_told_once_while_the_wind_stays_near_its_bound(watch):
    watch.start()
    watch.see()
    near_the_bound(watch, 9.8)
    assert watch.see() == [LIKELY]
    for _ in range(12):
        near_the_bound(watch, 9.3)  # a chance of 1 in 10: no warning would begin at it
        assert watch.see() == []


def test_a_chance_that_no_warning_begins_at_is_not_told(watch):
    watch.start()
    watch.see()
    near_the_bound(watch, 9.5)
    assert watch.see() == []


@pytest.mark.parametrize(("warn", "expected"), [("earlier", 1), ("normal", 0), ("fewer", 0)])
def test_the_grower_chooses_how_early(store, warn, expected):
    watch = Minutes(store, build(tables() | {"alerts": {"warn": warn}}))
    watch.start()
    watch.see()
    near_the_bound(watch, 9.5)
    assert len(watch.see()) == expected


def front(watch):
    """The wind turns and jumps within a minute, beside a wind close to its bound."""
    wind = np.append(np.full(69, 9.4), [14.0])
    watch.measure(wind, wind * 1.05, wind_from_deg=np.append(np.zeros(69), [80.0]))


FRONT = "Get ready creek side: too windy, 8 in 10"


def test_signs_of_a_front_explain_a_warning(watch):
    watch.start()
    watch.see()
    front(watch)
    assert watch.see() == [FRONT]
    assert "Signs of a gust front within minutes: wind up 5 mph, wind turned 80°." in watch.newest()


def test_signs_of_a_front_alone_raise_none(watch):
    watch.start()
    watch.see()
    watch.measure(
        np.full(70, 4.0),
        np.full(70, 5.0),
        wind_from_deg=np.append(np.zeros(69), [80.0]),
        temp_c=np.append(np.full(69, 20.0), [17.0]),
        pressure_pa=np.append(np.full(69, 97_000.0), [97_080.0]),
    )
    assert watch.see() == []


def test_what_was_foreseen_and_did_not_come_needs_no_word_to_who_did_not_stop(watch):
    watch.start()
    watch.see()
    front(watch)
    assert watch.see() == [FRONT]
    assert calm_again(watch) == []
    assert watch.raised() == set()


def calm_again(watch, minutes=14, **weather):
    heard = []
    for _ in range(minutes):
        watch.measure(np.full(30, 5.0), np.full(30, 6.0))
        heard += watch.see(**weather)
    return heard


def test_whoever_pauses_on_a_warning_is_told_when_it_is_over(watch, store):
    job = watch.start()
    watch.see()
    front(watch)
    assert watch.see() == [FRONT]
    with store.writing() as session:
        job_steps.pause(session, job, watch.now)
    assert watch.see(minutes=5, wind_mph=12.0, gust_mph=18.0) == []
    assert calm_again(watch) == ["All clear creek side: inside for 10 min"]


def test_whoever_pauses_on_a_warning_is_told_that_it_did_not_come(watch, store):
    job = watch.start()
    watch.see()
    front(watch)
    watch.see()
    with store.writing() as session:
        job_steps.pause(session, job, watch.now)
    assert calm_again(watch) == ["All clear creek side: it did not come"]


def test_nothing_is_clear_for_a_paused_job_while_any_bound_is_broken(watch, store):
    job = watch.start()
    watch.see()
    front(watch)
    watch.see()
    with store.writing() as session:
        job_steps.pause(session, job, watch.now)
    assert calm_again(watch, temp_c=36.0, humidity_pct=15.0) == []


def test_a_job_left_paused_is_asked_about_as_paused(watch, store):
    job = watch.start()
    watch.see()
    with store.writing() as session:
        job_steps.pause(session, job, watch.now)
    assert watch.see(minutes=59) == []
    assert watch.see(minutes=121) == ["Still paused creek side?"] * 2


def test_whoever_does_not_answer_is_asked_three_times(watch):
    watch.start()
    for _ in range(10):
        watch.now += 3500
        watch.see()
    assert [m.title for m in watch.messages()] == ["Still spraying creek side?"] * 3


def test_a_pause_after_a_stop_is_not_clear_while_another_limit_stands(watch, store):
    job = watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    with store.writing() as session:
        job_steps.pause(session, job, watch.now)
    assert watch.see(minutes=15, humidity_pct=15.0, temp_c=36.0) == []
    assert watch.see(minutes=10) == []
    assert watch.see() == ["All clear creek side: inside for 10 min"]


def test_a_broken_bound_needs_no_warning_of_itself(watch):
    watch.start()
    watch.see()
    wind = 4.0 + 8.0 * np.arange(45) / 44
    watch.measure(wind, wind * 1.2)
    assert watch.see(wind_mph=11.0, gust_mph=14.0) == ["Stop creek side: too windy, 11 mph"]
    watch.measure(wind, wind * 1.2)
    assert watch.see(minutes=2, wind_mph=11.0, gust_mph=14.0) == []


def test_readings_of_a_feed_every_twenty_minutes_foretell_nothing(watch):
    watch.start()
    watch.see()
    times = watch.now + 60 - 1200 * np.arange(4)[::-1]
    sparse = WeatherSeries.of(times, MAST, "mast", {"wind_m_s": [2.0, 3.0, 4.0, 4.4]})
    with watch.store.writing() as session:
        weather.add_observations(session, Observations(sparse), watch.now)
    assert watch.see() == []
