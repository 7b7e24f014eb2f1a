"""What is said mid-job, word for word. The numbers are the made-up weather's own."""

from dataclasses import replace

import numpy as np
import pytest

from tests.support.english import as_it_is, english
from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.i18n.language import ENGLISH, language
from watcher.judge.job_action import Action, JobAction
from watcher.judge.reasons import reasons
from watcher.judge.remedies import Change, ChangeKind, Remedy
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.forms import shape
from watcher.messages.job import (
    SEES_AGAIN,
    JobPlace,
    all_clear,
    cannot_see,
    get_ready,
    inside_for,
    stop,
)
from watcher.messages.reasons import Speaker
from watcher.messages.wind_warning import JobWarning

FARM = build(tables())
PLAN, SPEAKER = FarmArrays.of(FARM), Speaker(FARM)
CREEK, COARSE = 0, 1
PLACE = JobPlace(
    field="creek_side",
    setup="coarse",
    left_s=1800.0,
    holds_again_at=MORNING + 5 * 3600,
    breaks_at=MORNING + 8 * 3600,
)


def limits(look, *names):
    judgement, _ = judged(PLAN, look)
    found = reasons(judgement, CREEK, COARSE, look.now_index)
    return [r for r in found if r.limit in names]


def state(action, causes, **more):
    return JobAction(action, MORNING, tuple(causes), **more)


def test_a_broken_limit_says_stop_then_why_then_until_when():
    look = timeline(wind_mph=12.0, gust_mph=17.0)
    now = state(Action.STOP, limits(look, Limit.WIND, Limit.GUST))
    shaped = shape(stop(SPEAKER, PLACE, now, look), "push", ENGLISH, ref="K7QM2")
    assert shaped.title == "Stop creek side: too windy, 12 mph"
    assert shaped.body.splitlines()[:6] == [
        "Stop spraying now.",
        "Wind 12 mph, at most 10 mph (label): 2 mph over.",
        "Also gust 17 mph, at most 15 mph (own): 2 mph over.",
        "In the forecast it is inside again from 16:00.",
        "Job: coarse, about 30 min of spraying left.",
        "Wind measured by mast 1 min ago.",
    ]


@pytest.mark.parametrize(
    ("weather", "limit", "titles"),
    [
        (
            {"wind_mph": 12.0},
            Limit.WIND,
            ("Stop hill: too windy, 12, max 10 mph", "Pare hill: demasiado viento, 12 mph"),
        ),
        (
            {"wind_mph": 2.0},
            Limit.WIND,
            ("Stop hill: too calm, 2, min 3 mph", "Pare hill: muy poco viento, 2 mph"),
        ),
        (
            {"wind_mph": 10.02},
            Limit.WIND,
            ("Stop hill: too windy, just over 10 mph", "Pare hill: demasiado viento"),
        ),
        (
            {"gust_mph": 19.0},
            Limit.GUST,
            ("Stop hill: gusts 19, max 15 mph", "Pare hill: ráfagas 19, máx. 15 mph"),
        ),
    ],
)
def test_a_title_names_the_action_the_side_and_the_number(weather, limit, titles):
    look = timeline(**weather)
    place = replace(PLACE, field="hill")
    text = stop(SPEAKER, place, state(Action.STOP, limits(look, limit)), look)
    assert text.render(ENGLISH).title == titles[0]
    assert text.render(language("es")).title == titles[1]


def test_what_comes_and_goes_says_so_and_asks_for_longer():
    look = timeline(gust_mph=17.0)
    now = state(Action.STOP, limits(look, Limit.GUST), stops_lately=3, steady_s=1200.0)
    text = english(stop(SPEAKER, PLACE, now, look))
    assert text.title == "Stop creek side: gusts come and go"
    assert text.lines[0] == (
        "Stop spraying, 3 times outside within the hour. Wait for 20 min of steady weather."
    )


def test_the_first_two_things_that_would_help_are_named_and_waiting_once():
    look = timeline(wind_mph=8.0)
    until = MORNING + 3 * 3600
    found = (
        Remedy((Change(ChangeKind.TIPS, "coarse", takes_s=300.0),), until, True, takes_s=300.0),
        Remedy((Change(ChangeKind.WAIT, value=until),), until + 3600, True),
        Remedy((Change(ChangeKind.FIELD, "hill"),), until, False),
        Remedy((Change(ChangeKind.BOOM, value=0.381),), until, False),
    )
    place = JobPlace("creek_side", "fine", 1800.0, remedies=found)
    judgement, _ = judged(PLAN, look)
    worst = reasons(judgement, CREEK, 0, look.now_index)[:1]
    text = english(stop(SPEAKER, place, state(Action.STOP, worst), look))
    assert text.title == "Stop creek side: droplets too fine"
    assert text.lines[1:4] == (
        "Droplets fine: too fine for this wind (our default).",
        "Turn to the tips of coarse: inside the limits for all that is left; takes about 5 min.",
        "Go to hill: inside the limits until 14:00.",
    )
    assert text.lines[4] == "Not inside again as far as the forecast reaches."
    assert not any("boom" in line for line in text.lines)


def test_hours_that_are_not_known_are_not_called_a_no():
    look = timeline(wind_mph=12.0)
    place = replace(PLACE, holds_again_at=None, ahead_known=False)
    text = english(stop(SPEAKER, place, state(Action.STOP, limits(look, Limit.WIND)), look))
    assert "Not known when it is inside again: not all of the hours ahead are known." in text.lines


def test_a_blind_watch_says_what_to_do_instead():
    look = timeline(wind_mph=np.nan, wind_age_s=1020.0)
    now = state(Action.CANNOT_SEE, limits(look, Limit.WIND))
    text = english(cannot_see(SPEAKER, PLACE, now, look))
    assert text.title == "Check creek side: cannot see wind"
    assert text.lines == (
        "The watch cannot see all of it. Take a reading at boom height, or stop.",
        "Wind unknown: no value to rely on; see to mast.",
        "Job: coarse, about 30 min of spraying left.",
        "Nobody has reported the wind for 17 min.",
    )


def test_a_warning_says_what_it_rests_on():
    look = timeline(wind_mph=8.0)
    seen = JobWarning(
        (as_it_is("wind 4 in 10 over 10 mph"), as_it_is("too windy, 4 in 10")),
        as_it_is("Be ready."),
        (as_it_is("Up."),),
    )
    text = english(get_ready(PLACE, [seen], look))
    assert text.title == "Get ready creek side: too windy, 4 in 10"
    assert text.lines[:2] == ("Be ready.", "Up.")


def test_all_clear_says_for_how_long_and_until_when():
    look = timeline(wind_mph=6.0)
    text = english(all_clear(SPEAKER, PLACE, inside_for(600), look))
    assert text.title == "All clear creek side: inside for 10 min"
    assert text.lines == (
        "Inside for 10 min.",
        "In the forecast it holds until 19:00.",
        "Job: coarse, about 30 min of spraying left.",
        "Wind measured by mast 1 min ago.",
    )


def test_seeing_again_is_an_all_clear():
    text = english(all_clear(SPEAKER, PLACE, SEES_AGAIN, timeline(wind_mph=6.0)))
    assert text.title == "All clear creek side: measured again"


def test_the_operators_sms():
    look = timeline(wind_mph=12.0, gust_mph=17.0)
    now = state(Action.STOP, limits(look, Limit.WIND, Limit.GUST))
    shaped = shape(stop(SPEAKER, PLACE, now, look), "sms", ENGLISH, ref="K7QM2")
    assert shaped.body == (
        "Stop creek side: too windy, 12 mph. Stop spraying now. "
        "Wind 12 mph, at most 10 mph (label): 2 mph over. Label decides. (K7QM2)"
    )
