"""Fields that open and close: told together, once, and not at every breath of wind."""

from datetime import time

import numpy as np
import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from tests.support.minutes import Minutes
from tests.support.skies import MORNING, judged, timeline
from watcher.judge.chances import Chances, FarmChances
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.evening import evening_look_ahead
from watcher.messages.fields import closing
from watcher.messages.reasons import Speaker

WINDY = {"wind_mph": 12.0, "gust_mph": 13.0}


@pytest.fixture
def watch(store, farm):
    return Minutes(store, farm, topic="brief")


def test_fields_that_open_at_the_same_time_are_one_message(watch):
    assert watch.see(minutes=5, **WINDY) == []
    assert watch.see(minutes=5) == []
    assert watch.see(minutes=5) == ["Open now: creek side, hill"]
    assert watch.newest().splitlines()[0] == "1 ● creek side suitable: coarse, 43 min"


def test_a_lull_of_three_minutes_opens_nothing(watch):
    watch.see(minutes=2, **WINDY)
    assert watch.see(minutes=3) + watch.see(minutes=5, **WINDY) == []


def test_a_field_that_closes_for_ten_minutes_is_not_news_when_it_opens_again(watch):
    watch.see(minutes=7)
    assert watch.see(minutes=10, **WINDY) + watch.see(minutes=15) == []


def test_unknown_weather_neither_opens_nor_closes_a_field(watch):
    watch.see(minutes=7)
    assert watch.see(minutes=60, wind_mph=np.nan, gust_mph=np.nan) == []
    assert watch.see(minutes=7) == []


def test_a_field_about_to_close_says_when_and_why(watch):
    in_an_hour = np.where(np.arange(72) >= 1, 13.0, 5.0)
    watch.see(minutes=7)
    assert watch.see(wind_mph=in_an_hour, gust_mph=14.0) == ["Maybe until: creek side 12:08 +1"]
    assert watch.newest().splitlines()[0] == (
        "creek side in the forecast until 12:08: wind 13 mph, at most 10 mph (label): 3 mph over; "
        "a whole job still fits."
    )
    assert watch.see(minutes=5, wind_mph=in_an_hour, gust_mph=14.0) == []


def test_a_field_being_sprayed_is_left_to_its_job(watch):
    watch.start("hill", "coarse")
    in_an_hour = np.where(np.arange(72) >= 1, 13.0, 5.0)
    watch.see(minutes=7)
    assert watch.see(wind_mph=in_an_hour, gust_mph=14.0) == ["Maybe until: creek side 12:08"]


def test_a_job_that_no_longer_fits_is_named_in_the_closing(farm):
    look = timeline(wind_mph=np.where(np.arange(72) >= 1, 13.0, 5.0), gust_mph=14.0)
    judgement, ranking = judged(FarmArrays.of(farm), look)
    late = [
        type(f)(**(vars(f) | {"duration_s": 7200.0})) for f in ranking.spray if f.field == "hill"
    ]
    text = english(closing(Speaker(farm), late, judgement, look))
    assert text.lines[0].endswith("a whole job of 2 h no longer fits.")


def evening(farm, **weather):
    look = timeline(MORNING + 8 * 3600, **weather)  # 19:00
    judgement, _ = judged(FarmArrays.of(farm), look)
    return english(evening_look_ahead(Speaker(farm), judgement, look))


def test_the_evening_names_each_fields_best_starts_of_three_days(farm):
    now = MORNING + 8 * 3600
    look, plan = timeline(now), FarmArrays.of(farm)
    judgement, _ = judged(plan, look)
    starts = now + 3600 * np.arange(60)  # up to 06:00 of the third day
    held = np.where(starts % 86_400 == (now + 12 * 3600) % 86_400, 0.81, 0.4)  # 07:00
    every = np.broadcast_to(held, (len(plan.fields), len(plan.setups), starts.size))
    none = np.full(every.shape, -1, np.int8)
    behind = np.arange(60)[::-1]
    of = plan.fields, plan.setups, starts, plan.duration_s, every, every, none, behind
    chances = FarmChances(now, (Chances(*of),))
    text = english(evening_look_ahead(Speaker(farm), judgement, look, chances=chances))
    for line in text.lines[:2]:
        assert line.split("; ")[-4:] == [
            "best starts: 19:00 to 23:00, 4 in 10",
            "tomorrow 07:00, 8 in 10",
            "Fri 07:00, 8 in 10",
            "Sat 00:00 to 06:00, 4 in 10 (not all of that day is known)",
        ]
    assert (
        text.lines[2] == "Chances: mostly general experience."
    )  # 6 behind the first start on Saturday


def hours(**spans):
    """Wind of 5 mph from 19:00 on for 72 hours, 12 mph in these hours."""
    wind = np.full(72, 5.0)
    for start, stop in spans.values():
        wind[start:stop] = 12.0
    return wind


def test_the_evening_says_which_hours_tomorrow_has(farm):
    # 19:00 is hour 0, so tomorrow's midnight is hour 5 and its 07:00 is hour 12.
    wind = hours(night=(5, 12), noon=(15, 22), late=(25, 29))
    text = evening(farm, wind_mph=wind, gust_mph=13.0)
    assert text.title == "Tomorrow: creek side 07:00, hill 07:00"
    assert "creek side" in text.lines[0]
    assert text.lines[0].endswith(" 07:00 to 10:00, 17:00 to 20:00")


def test_the_evening_says_why_a_field_has_no_hours_tomorrow(farm):
    text = evening(farm, wind_mph=12.0, gust_mph=13.0)
    assert text.title == "No field opens tomorrow"
    assert text.lines[1] == (
        "✕ hill unsuitable; at noon: wind 12 mph, at most 10 mph (label): 2 mph over"
    )


def test_the_evening_does_not_make_up_a_day_nobody_foretold(farm):
    text = evening(farm, wind_mph=np.nan, gust_mph=np.nan)
    assert text.title == "Tomorrow unknown: do not rely on it"
    assert text.lines[0] == "? creek side unknown, do not rely on it"


def test_the_evening_look_ahead_comes_once_at_its_time(store):
    config = tables() | {"brief": {"morning": time(5, 30), "evening": time(19)}}
    watch = Minutes(store, build(config), topic="brief")
    watch.see(minutes=7)
    watch.now = MORNING + 8 * 3600 - 120
    assert watch.see() == []
    assert [t.split(":")[0] for t in watch.see()] == ["Tomorrow"]
    assert watch.see(minutes=30) == []
