"""What is said mid-job, word for word. The numbers are the made-up weather's own."""

import numpy as np

from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, outlook
from watcher.alerts.forms import shape
from watcher.alerts.wording.coming import Coming
from watcher.alerts.wording.job import JobPlace, all_clear, back_for, job_alert
from watcher.alerts.wording.reasons import Speaker
from watcher.judge.plan import Plan
from watcher.judge.reasons import reasons
from watcher.judge.status import Limit

FARM = build(tables())
PLAN, SPEAKER = Plan.of(FARM), Speaker(FARM)
CREEK, COARSE = 0, 1
PLACE = JobPlace(
    field="creek_side",
    setup="coarse",
    left_s=1800.0,
    holds_again_at=MORNING + 5 * 3600,
    breaks_at=MORNING + 8 * 3600,
    other_setup=None,
)


def limits(look, *names):
    judgement, _ = judged(PLAN, look)
    found = reasons(judgement, CREEK, COARSE, look.now_index)
    return [r for r in found if r.limit in names]


def test_a_broken_limit_says_stop_then_why_then_until_when():
    look = outlook(wind_mph=12.0, gust_mph=17.0)
    changed = limits(look, Limit.WIND, Limit.GUST)
    shaped = shape(job_alert(SPEAKER, PLACE, changed, [], outlook=look), "push", ref="K7QM2")
    assert shaped.title == "Stop: creek side, wind 12 mph"
    assert shaped.body.splitlines()[:6] == [
        "Stop spraying: this field is outside its window.",
        "Wind 12 mph, bound 10 (label), 2 mph over.",
        "Gust 17 mph, bound 15 (own), 2 mph over.",
        "In the forecast it holds again from 16:00.",
        "Job: coarse, about 30 min of spraying left.",
        "Wind measured by mast 1 min ago.",
    ]


def test_a_setup_that_would_still_do_is_named():
    look = outlook(wind_mph=8.0)
    place = JobPlace("creek_side", "fine", 1800.0, other_setup="coarse")
    judgement, _ = judged(PLAN, look)
    worst = reasons(judgement, CREEK, 0, look.now_index)[:1]
    text = job_alert(SPEAKER, place, worst, [], outlook=look)
    assert text.title == "Stop: creek side, droplets fine"
    assert text.lines[1:4] == (
        "Droplets fine: too fine for this wind (own).",
        "Setup coarse would still be within its window here.",
        "The forecast shows no way back into the window.",
    )


def test_a_bound_coming_near_says_be_ready():
    look = outlook(wind_mph=9.0)
    text = job_alert(SPEAKER, PLACE, limits(look, Limit.WIND), [], outlook=look)
    assert text.title == "Watch: creek side, wind 9 mph"
    assert text.lines[:2] == (
        "Be ready to stop: close to a bound.",
        "Wind 9 mph, bound 10 (label), 1 mph of room.",
    )


def test_a_blind_watch_says_what_to_do_instead():
    look = outlook(wind_mph=np.nan, wind_age_s=1020.0)
    text = job_alert(SPEAKER, PLACE, limits(look, Limit.WIND), [], outlook=look)
    assert text.title == "Blind: creek side, wind unknown"
    assert text.lines == (
        "The watch cannot see. Take a reading at boom height, or stop.",
        "Wind unknown: no value to rely on.",
        "Job: coarse, about 30 min of spraying left.",
        "Nobody has told the wind for 17 min.",
    )


def test_what_was_told_before_and_still_stands_is_named_again():
    look = outlook(wind_mph=12.0, gust_mph=17.0)
    changed, standing = limits(look, Limit.GUST), limits(look, Limit.WIND)
    text = job_alert(SPEAKER, PLACE, changed, standing, outlook=look)
    assert "Still: wind 12 mph, bound 10 (label), 2 mph over." in text.lines


def test_a_warning_says_what_it_rests_on():
    look = outlook(wind_mph=8.0)
    seen = Coming("Gust front", "stop now", "Stop before it is here.", "Within minutes: wind up.")
    text = job_alert(SPEAKER, PLACE, [], [], outlook=look, coming=[seen])
    assert text.title == "Gust front: creek side, stop now"
    assert text.lines[:2] == ("Stop before it is here.", "Within minutes: wind up.")


def test_all_clear_says_for_how_long_and_until_when():
    look = outlook(wind_mph=6.0)
    text = all_clear(
        SPEAKER,
        PLACE,
        limits(look, Limit.WIND),
        [],
        why=back_for(600),
        outlook=look,
    )
    assert text.title == "All clear: creek side"
    assert text.lines == (
        "Back in its window for 10 min.",
        "Wind 6 mph, bound 3 (label), 3 mph of room.",
        "In the forecast it holds until 19:00.",
        "Job: coarse, about 30 min of spraying left.",
        "Wind measured by mast 1 min ago.",
    )


def test_a_partial_all_clear_is_not_called_one():
    look = outlook(wind_mph=6.0, rain_mm_h=np.nan)
    text = all_clear(
        SPEAKER,
        PLACE,
        limits(look, Limit.WIND),
        limits(look, Limit.RAIN_AFTER),
        why=back_for(600),
        outlook=look,
    )
    assert text.title == "Better: creek side"
    assert "Still: rain-free time after unknown: no value to rely on." in text.lines


def test_the_operators_sms():
    look = outlook(wind_mph=12.0, gust_mph=17.0)
    changed = limits(look, Limit.WIND, Limit.GUST)
    shaped = shape(job_alert(SPEAKER, PLACE, changed, [], outlook=look), "sms", ref="K7QM2")
    assert shaped.body == (
        "Stop: creek side, wind 12 mph. Stop spraying: this field is outside its window. "
        "Wind 12 mph, bound 10 (label), 2 mph over. Label decides. (K7QM2)"
    )
