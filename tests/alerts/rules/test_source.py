"""Sources that fall silent, stand still, say what cannot be or contradict the forecast."""

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.minutes import Minutes
from watcher.sources.base import Flag, Forecast, Observations
from watcher.store import health, refused, weather
from watcher.store.refused import Refused
from watcher.weather.series import Site, WeatherSeries

SITE = Site(41.0, -96.0)


@pytest.fixture
def watch(store, farm):
    return Minutes(store, farm, topic="sources")


def report(watch, wind=3.0, flag=Flag.GOOD, ahead_s=0, **more):
    """A minute's reading of the mast."""
    time = np.array([watch.now + ahead_s])
    content = {"wind_m_s": [wind], "temp_c": [20.0]} | more
    flags = {"wind_m_s": np.array([flag], np.uint16)} if flag else {}
    with watch.store.writing() as session:
        reading = WeatherSeries.of(time, SITE, "mast", content)
        weather.add_observations(session, Observations(reading, flags), watch.now)
        health.answered(session, "mast", watch.now, int(time[0]))


def minutes(watch, count, **reading):
    """Let minutes pass with a reading each; returns the titles newly told."""
    heard = []
    for _ in range(count):
        report(watch, **reading)
        heard += watch.see()
    return heard


def test_a_station_that_reports_every_minute_is_no_news(watch):
    assert minutes(watch, 20) == []


def test_a_silent_station_is_told_once_with_since_when(watch):
    minutes(watch, 2)
    # Silent after 15 minutes, and five more to be sure.
    assert watch.see(minutes=19) == []
    assert watch.see(minutes=5) == ["Weather: mast silent"]
    assert watch.newest().splitlines()[0] == "mast has been silent for 21 min, since 11:01."
    assert watch.see(minutes=60) == []


def test_its_return_is_told_once_it_has_held(watch):
    minutes(watch, 2)
    watch.see(minutes=30)
    assert minutes(watch, 5) == []
    assert minutes(watch, 3) == ["Weather back: mast"]


def test_a_station_that_never_reported_is_told(watch):
    assert watch.see(minutes=7) == ["Weather: mast silent"]
    assert watch.newest().splitlines()[0] == "mast has not given anything yet."


def test_why_a_source_fails_is_told_with_its_silence(watch):
    with watch.store.writing() as session:
        health.failed(session, "mast", watch.now, "no answer from the mast")
    watch.see(minutes=7)
    assert "(no answer from the mast)" in watch.newest()


@pytest.mark.parametrize(
    ("flag", "title", "line"),
    [
        (Flag.STUCK, "Weather: mast stuck", "mast: wind stands still and is not used."),
        (
            Flag.RANGE,
            "Weather: mast implausible",
            "mast: wind says what cannot be; it is not used.",
        ),
        (
            Flag.FUTURE,
            "Weather: mast clock ahead",
            "mast: sent readings dated ahead of now in the last hour; they are not used.",
        ),
    ],
)
def test_flagged_readings_are_told_after_three_and_once(watch, flag, title, line):
    minutes(watch, 1)
    assert minutes(watch, 2, flag=flag) == []
    assert minutes(watch, 3, flag=flag) == [title]
    assert watch.newest().splitlines()[0] == line


def test_a_clock_an_hour_ahead_is_told_with_how_far_and_what_to_do(watch):
    flagged = {"ahead_s": 3595, "flag": Flag.FUTURE}
    assert minutes(watch, 5, **flagged) == ["Weather: mast clock ahead"]
    assert watch.newest().splitlines()[:2] == [
        "mast: its clock is 3595 s ahead; its readings are not used.",
        "Set its clock by the network, and see that it sends UTC or its own offset.",
    ]


def test_values_in_another_unit_are_told(watch):
    assert minutes(watch, 5, humidity_pct=[0.55]) == ["Weather: mast implausible"]
    assert watch.newest().splitlines()[:2] == [
        "mast: humidity looks like a fraction from 0 to 1, not %.",
        "Name the unit that it really measures in.",
    ]


def test_a_silence_is_told_with_the_posts_refused_meanwhile(watch):
    with watch.store.writing() as session:
        wrong = Refused("mast", "token", 21, watch.now - 40, "a wrong token", ("10.0.0.7",))
        refused.add(session, [wrong], watch.now)
    assert watch.see(minutes=7) == ["Weather: mast silent"]
    assert watch.newest().splitlines()[:4] == [
        "mast has not given anything yet.",
        "mast: posts with a wrong token in the last day: 21, the last 7 min ago, from 10.0.0.7.",
        "See that it has power and that its line to this machine works.",
        "Give the station the token that stands in the settings of the watch.",
    ]


def test_a_station_that_failed_a_quarter_of_its_day_is_told_not_to_be_believed(watch):
    minutes(watch, 30)
    assert minutes(watch, 9, flag=Flag.RANGE) == ["Weather: mast implausible"]
    assert minutes(watch, 3, flag=Flag.RANGE) == ["Weather: mast not believed"]
    assert watch.newest().splitlines()[0] == (
        "mast: wind failed the checks too often in the last day and is not believed until it "
        "improves; the next source speaks, or nobody."
    )


def test_a_station_far_from_the_forecast_for_hours_is_told(watch):
    times = watch.now - 3600 + 3600 * np.arange(12)
    foretold = WeatherSeries.of(
        times, SITE, "open_meteo", {"wind_m_s": np.full(12, 3.0), "temp_c": np.full(12, 31.0)}
    )
    with watch.store.writing() as session:
        weather.add_forecast(session, Forecast(foretold, watch.now, watch.now, ""))
    config = tables_with_feed(watch)
    first = minutes(config, 110)
    assert first == []
    assert minutes(config, 15) == ["Weather: mast disagrees"]
    assert config.newest().splitlines()[0] == (
        "mast: temperature is far from the forecast for this hour: one of them is wrong."
    )


def tables_with_feed(watch):
    config = tables()
    config["sources"]["open_meteo"] = {"kind": "open_meteo", "silent_after": "12 h"}
    with watch.store.writing() as session:
        health.answered(session, "open_meteo", watch.now, None)
    return Minutes(watch.store, build(config), topic="sources")


def test_several_sources_that_fail_together_are_one_message(store):
    config = tables()
    config["sources"]["barn"] = {"kind": "push"}
    watch = Minutes(store, build(config), topic="sources")
    assert watch.see(minutes=7) == ["Weather: mast silent, barn silent"]
