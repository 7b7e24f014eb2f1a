"""The morning brief as it is read, word for word, in every form.

Checked by hand: 400 m x 400 m are 39.5 acre; at 12 mph with 90 ft and 65 % that is 85 acre/h, so
28 min, and one fill of 15 min: 43 min.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.i18n.language import ENGLISH
from watcher.judge.chances import Chances, FarmChances, FieldChance
from watcher.judge.ranking import FieldNow, Ranking, with_chances
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.messages.brief import morning_brief
from watcher.messages.forms import shape
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text
from watcher.messages.words import CAUTION, SHAPES

FARM = build(tables())
PLAN, SPEAKER = FarmArrays.of(FARM), Speaker(FARM)


def brief(due_at: int = MORNING, **weather) -> Text:
    look = timeline(**weather)
    judgement, ranking = judged(PLAN, look)
    return morning_brief(SPEAKER, judgement, ranking, look, due_at=due_at)


def test_on_a_lock_screen_the_ranking_comes_first():
    from_the_south = np.where(np.arange(72) >= 3, 180.0, 0.0)
    windy_later = np.where(np.arange(72) >= 5, 11.0, 8.0)
    text = brief(wind_from_deg=from_the_south, wind_mph=windy_later, gust_mph=12.0)
    shaped = shape(text, "push", ENGLISH, ref="K7QM2")
    assert shaped.title == "Spray now: creek side, hill"
    assert shaped.body.splitlines() == [
        "1 ◐ creek side marginal: coarse, 43 min, in the forecast until 14:00; "
        "wind 8 mph, at most 10 mph (label), 2 mph to spare; marginal over 6 mph (our default)",
        "2 ◐ hill marginal: coarse, 43 min, in the forecast until 16:00; "
        "wind 8 mph, at most 10 mph (label), 2 mph to spare; marginal over 6 mph (our default)",
        "Wind measured by mast 1 min ago.",
        "Hours ahead: open meteo, fetched 25 min ago.",
        "Wind from N 0°: 8 mph at the boom, gust 12 mph; 8 mph at the mast, gust 12 mph. "
        "68 °F, humidity 55%, Delta T 10.0 °F.",
        "No chances are known yet.",
        str(CAUTION),
        "[K7QM2]",
    ]


def test_who_waits_is_told_why_and_when_it_opens():
    calming = np.where(np.arange(72) >= 20, 5.0, 12.0)
    text = english(brief(wind_mph=calming, gust_mph=13.0))
    assert text.title == "Maybe next: creek side tomorrow 07:00 +1"
    assert text.lines[0] == (
        "✕ creek side unsuitable: wind 12 mph, at most 10 mph (label): 2 mph over; "
        "in the forecast from tomorrow 07:00"
    )
    assert text.lines[1] == (
        "✕ hill unsuitable: wind 12 mph, at most 10 mph (label): 2 mph over; "
        "in the forecast from tomorrow 07:00"
    )


def test_unknown_weather_is_never_worded_as_suitable():
    text = english(brief(wind_mph=np.nan, gust_mph=np.nan, wind_age_s=45 * 60.0))
    assert text.title == "Weather unknown: do not rely on it"
    assert text.lines[1] == (
        "? hill unknown, do not rely on it: wind unknown: no value to rely on; see to mast; "
        "not in the next 48 h"
    )
    assert text.lines[2] == "Nobody has reported the wind for 45 min."
    assert text.lines[4].startswith("Wind from N 0°: not known at the boom, gust not known;")
    assert "suitable" not in " ".join(text.lines)


def test_a_field_that_never_opens_says_so():
    text = english(brief(gust_mph=17.0))
    assert text.title == "No field opens in the next 48 h"
    assert text.lines[1] == (
        "✕ hill unsuitable: gust 17 mph, at most 15 mph (own): 2 mph over; not in the next 48 h"
    )


def test_a_brief_after_a_downtime_says_when_it_was_due():
    text = english(brief(due_at=MORNING - 5400))
    assert "This brief was due at 09:30: the watch was not running then." in text.lines
    assert not any("was due" in line for line in english(brief()).lines)


def test_a_mail_adds_every_limit_of_every_field():
    shaped = shape(brief(wind_mph=5.0), "mail", ENGLISH, ref="K7QM2")
    assert shaped.body.startswith("1 ● creek side suitable: ")
    assert (
        "\n\nhill with coarse, suitable:\n  wind 5 mph, at least 3 mph (label), 2 mph to spare\n"
        in shaped.body
    )
    assert shaped.body.endswith(f"\n\n{CAUTION}\n[K7QM2]")


def test_a_plain_sms_keeps_to_one_message():
    shaped = shape(brief(wind_mph=5.0), "sms", ENGLISH, ref="K7QM2")
    assert shaped.title == ""
    assert shaped.body == (
        "Spray now: creek side, hill. 1 creek side suitable: coarse, 43 min. "
        "2 hill suitable: coarse, 43 min. Wind measured by mast 1 min ago. Label decides. (K7QM2)"
    )


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.62, ", holds: 6 in 10 until 15:00"),
        (0.01, ", holds: less than 1 in 10 until 15:00"),
        (None, ""),
    ],
)
def test_a_field_says_how_likely_it_holds_and_once_what_that_rests_on(chance, said):
    look = timeline(wind_mph=5.0)
    judgement, ranking = judged(PLAN, look)
    ends_at = MORNING + 4 * 3600
    found = FieldChance(chance, chance, MORNING, ends_at, None, 41)
    spray = tuple(replace(f, chance=found) for f in ranking.spray)
    ranking = replace(ranking, spray=spray)
    lines = english(morning_brief(SPEAKER, judgement, ranking, look, due_at=MORNING)).lines
    assert lines[0] == f"1 ● creek side suitable: coarse, 43 min{said}"
    wanted = (
        "No chances are known yet." if chance is None else "Chances: from 41 past forecasts here."
    )
    assert [line for line in lines if "hances" in line] == [wanted]


def with_all(held: float, **weather) -> Text:
    """The brief with the same chance for every field, setup and hour of three days."""
    look = timeline(**weather)
    judgement, ranking = judged(PLAN, look)
    starts = MORNING + 3600 * np.arange(72)
    every = np.full((len(PLAN.fields), len(PLAN.setups), starts.size), held)
    none = np.full(every.shape, -1, np.int8)
    of = PLAN.fields, PLAN.setups, starts, PLAN.duration_s, every, every, none
    chances = FarmChances(MORNING, (Chances(*of, np.full(starts.size, 25)),))
    ranking = with_chances(ranking, chances)
    return morning_brief(SPEAKER, judgement, ranking, look, due_at=MORNING, chances=chances)


def test_the_best_hours_of_three_days_come_last_with_what_they_rest_on():
    calming = np.where(np.arange(72) >= 20, 5.0, 12.0)
    lines = english(with_all(0.72, wind_mph=calming, gust_mph=13.0)).lines
    assert lines[-3:] == (
        "creek side, best starts: tomorrow 07:00 to 23:00, 7 in 10; Fri 00:00 to 23:00, 7 in 10",
        "hill, best starts: tomorrow 07:00 to 23:00, 7 in 10; Fri 00:00 to 23:00, 7 in 10",
        "Chances: from 25 past forecasts here.",
    )


@pytest.mark.parametrize(
    ("held", "title", "opens"),
    [(0.7, "Likely next:", "likely from"), (0.2, "Maybe next:", "in the forecast from")],
)
def test_a_field_opens_likely_only_where_the_chance_says_so(held, title, opens):
    calming = np.where(np.arange(72) >= 20, 5.0, 12.0)
    text = english(with_all(held, wind_mph=calming, gust_mph=13.0))
    assert text.title.startswith(title)
    assert text.lines[1].endswith(f"; {opens} tomorrow 07:00")


def test_a_field_is_open_until_likely_only_where_the_chance_says_so():
    windy_later = np.where(np.arange(72) >= 5, 11.0, 5.0)
    for held, until in ((0.7, "likely until 16:00"), (0.3, "in the forecast until 16:00")):
        line = english(with_all(held, wind_mph=windy_later, gust_mph=12.0)).lines[0]
        assert f", {until}, holds: {round(10 * held)} in 10 until 11:42" in line


def test_many_fields_never_overflow_the_lock_screen():
    names = ["a" * 30, "north_of_the_old_mill_by_the_road", "c", "d", "e"]
    rows = tuple(_open(name) for name in names)
    look, farm = timeline(), _farm_of(names)
    judgement, _ = judged(FarmArrays.of(farm), look)
    ranking = Ranking(MORNING, rows, ())
    text = english(morning_brief(Speaker(farm), judgement, ranking, look, due_at=MORNING))
    assert len(text.title) <= 40
    assert text.title.endswith(" +4")


def _open(name: str) -> FieldNow:
    _, ranking = judged(PLAN, timeline())
    hill = ranking.every["hill"]
    return FieldNow(**(vars(hill) | {"field": name, "status": Status.SUITABLE}))


def _farm_of(names):
    config = tables()
    config["fields"] = dict.fromkeys(names, config["fields"]["hill"])
    config["neighbours"] = {}
    return build(config)


@pytest.mark.parametrize("status", list(Status))
def test_every_status_is_told_by_a_word_and_a_shape_of_its_own(status):
    assert status.word.isalpha()
    assert len({SHAPES[s] for s in Status}) == len(Status)


def test_the_forecasts_provider_is_credited_in_plain_words():
    credited = "Weather data by an <b>open</b> feed (https://feed.example/), CC BY 4.0"
    look = replace(timeline(wind_mph=5.0), attribution=credited)
    judgement, ranking = judged(PLAN, look)
    lines = english(morning_brief(SPEAKER, judgement, ranking, look, due_at=MORNING)).lines
    said = "fetched 25 min ago. Weather data by an b open /b feed."
    assert any(line.endswith(said) for line in lines)
