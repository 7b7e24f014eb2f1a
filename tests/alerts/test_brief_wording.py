"""The morning brief as it is read, word for word, in every form.

Checked by hand: 400 m x 400 m are 39.5 acre; at 12 mph with 90 ft and 65 % that is 85 acre/h, so
28 min, and one fill of 15 min: 43 min.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, outlook
from watcher.alerts.forms import shape
from watcher.alerts.wording.brief import morning_brief
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import CAUTION, SHAPES, Text
from watcher.judge.plan import Plan
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.status import Status

FARM = build(tables())
PLAN, SPEAKER = Plan.of(FARM), Speaker(FARM)


def brief(due_at: int = MORNING, **weather) -> Text:
    look = outlook(**weather)
    _, ranking = judged(PLAN, look)
    return morning_brief(SPEAKER, ranking, look, due_at=due_at)


def test_on_a_lock_screen_the_ranking_comes_first():
    from_the_south = np.where(np.arange(72) >= 3, 180.0, 0.0)
    windy_later = np.where(np.arange(72) >= 5, 11.0, 8.0)
    text = brief(wind_from_deg=from_the_south, wind_mph=windy_later, gust_mph=12.0)
    shaped = shape(text, "push", ref="K7QM2")
    assert shaped.title == "Spray now: creek side, hill"
    assert shaped.body.splitlines() == [
        "1 ◐ creek side marginal: coarse, 43 min, until 14:00; "
        "wind 8 mph, bound 10 (label), 2 mph of room",
        "2 ◐ hill marginal: coarse, 43 min, until 16:00; "
        "wind 8 mph, bound 10 (label), 2 mph of room",
        "Wind measured by mast 1 min ago.",
        "Hours ahead: open meteo, fetched 25 min ago.",
        CAUTION,
        "[K7QM2]",
    ]


def test_who_waits_is_told_why_and_when_it_opens():
    calming = np.where(np.arange(72) >= 20, 5.0, 12.0)
    text = brief(wind_mph=calming, gust_mph=13.0)
    assert text.title == "Opens next: creek side tomorrow 07:00 +1"
    assert text.lines[0] == (
        "✕ creek side unsuitable: wind 12 mph, bound 10 (label), 2 mph over; opens tomorrow 07:00"
    )
    assert text.lines[1] == (
        "✕ hill unsuitable: wind 12 mph, bound 10 (label), 2 mph over; opens tomorrow 07:00"
    )


def test_unknown_weather_is_never_worded_as_suitable():
    text = brief(wind_mph=np.nan, gust_mph=np.nan, wind_age_s=45 * 60.0)
    assert text.title == "Weather unknown: do not rely on it"
    assert text.lines[1] == (
        "? hill unknown, do not rely on it: wind unknown: no value to rely on; not in the next 48 h"
    )
    assert text.lines[2] == "Nobody has told the wind for 45 min."
    assert "suitable" not in " ".join(text.lines)


def test_a_field_that_never_opens_says_so():
    text = brief(gust_mph=17.0)
    assert text.title == "No field opens in the next 48 h"
    assert text.lines[1] == (
        "✕ hill unsuitable: gust 17 mph, bound 15 (own), 2 mph over; not in the next 48 h"
    )


def test_a_brief_after_a_downtime_says_when_it_was_due():
    text = brief(due_at=MORNING - 5400)
    assert "This brief was due at 09:30: the watch was not running then." in text.lines
    assert not any("was due" in line for line in brief().lines)


def test_a_mail_adds_every_limit_of_every_field():
    shaped = shape(brief(wind_mph=5.0), "mail", ref="K7QM2")
    assert shaped.body.startswith("1 ● creek side suitable: ")
    assert (
        "\n\nhill with fine, suitable:\n  wind 5 mph, bound 3 (label), 2 mph of room\n"
        in shaped.body
    )
    assert shaped.body.endswith(f"\n\n{CAUTION}\n[K7QM2]")


def test_a_plain_sms_keeps_to_one_message():
    shaped = shape(brief(wind_mph=5.0), "sms", ref="K7QM2")
    assert shaped.title == ""
    assert shaped.body == (
        "Spray now: creek side, hill. 1 creek side suitable: fine, 43 min. "
        "2 hill suitable: fine, 43 min. Wind measured by mast 1 min ago. Label decides. (K7QM2)"
    )


def test_many_fields_never_overflow_the_lock_screen():
    names = ["a" * 30, "north_of_the_old_mill_by_the_road", "c", "d", "e"]
    rows = tuple(_open(name) for name in names)
    look = outlook()
    text = morning_brief(Speaker(_farm_of(names)), Ranking(MORNING, rows, ()), look, due_at=MORNING)
    assert len(text.title) <= 40
    assert text.title.endswith(" +4")


def _open(name: str) -> FieldNow:
    _, ranking = judged(PLAN, outlook())
    hill = ranking.every["hill"]
    return FieldNow(**(vars(hill) | {"field": name, "status": Status.SUITABLE}))


def _farm_of(names):
    told = tables()
    told["fields"] = dict.fromkeys(names, told["fields"]["hill"])
    told["neighbours"] = {}
    return build(told)


@pytest.mark.parametrize("status", list(Status))
def test_every_status_is_told_by_a_word_and_a_shape_of_its_own(status):
    assert status.word.isalpha()
    assert len({SHAPES[s] for s in Status}) == len(Status)


def test_the_forecasts_provider_is_credited_in_plain_words():
    credited = "Weather data by an <b>open</b> feed (https://feed.example/), CC BY 4.0"
    look = replace(outlook(wind_mph=5.0), attribution=credited)
    _, ranking = judged(PLAN, look)
    lines = morning_brief(SPEAKER, ranking, look, due_at=MORNING).lines
    assert lines[-1].endswith("fetched 25 min ago. Weather data by an b open /b feed.")
