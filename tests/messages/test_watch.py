"""What the watch says of itself, its sources, recipients and of jobs at large, word for word."""

from types import SimpleNamespace

import numpy as np
import pytest

from tests.support.english import as_it_is, english
from tests.support.farms import build, tables
from tests.support.skies import MORNING
from watcher.farm.models import Origin
from watcher.judge.reasons import Reason
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState
from watcher.messages import job, sources, watch, wind_warning
from watcher.messages.chances import tenths
from watcher.messages.job import JobPlace
from watcher.messages.reasons import Speaker
from watcher.messages.text import TITLE_ROOM, Rendered, Text
from watcher.source_view import SourceView
from watcher.store.last_known import Loss, OpenJob
from watcher.store.tables import Job, Outgoing

SPEAKER = Speaker(build(tables()))
PLACE = JobPlace("creek_side", "coarse", 1800.0)
HILL, CREEK = Job(field="hill"), Job(field="creek_side")
LOST_JOB = OpenJob(id=3, field="creek_side", setup="coarse", started_at=MORNING - 3600)
DAMAGED = Loss(
    trouble="damaged",
    found_at=MORNING,
    known_until=None,
    watched_until=MORNING - 1920,
    jobs=(LOST_JOB,),
    aside="watch.db.damaged-20260612T160000Z",
    free_bytes=40_000_000,
)
LOST = Outgoing(
    title="Stop hill: too windy, 12 mph", body="", caused_at=MORNING - 1200, recipient="operator"
)


def bound(limit, high):
    return Reason(limit, LimitState.HOLDS, 3.0, 1.0, high, Origin.LABEL, 0.5)


TEXTS = {
    "was down": (
        watch.was_down(SPEAKER, MORNING - 1920, MORNING, crashed=True, jobs=[CREEK], lost=[LOST]),
        Rendered(
            "Watch was down 10:28 to 11:00",
            (
                "Nobody watched from 10:28 to 11:00, 32 min. It ended without a proper stop.",
                "creek side was being sprayed and not watched.",
                "Never arrived: Stop hill: too windy, 12 mph (10:40, to operator).",
                "It watches again now.",
            ),
        ),
    ),
    "stopping": (
        watch.stopping([CREEK, HILL]),
        Rendered(
            "Watch stops: creek side, hill",
            (
                "From now on nobody watches creek side, hill: the watch is being stopped.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "clock doubted": (
        watch.clock_doubted(86_400),
        Rendered(
            "The machine's clock jumped",
            (
                "The clock of the machine jumped forward by 24 h. The watch goes on by its own "
                "time until stations or feeds agree with the new one.",
                "Look at the clock of the machine.",
            ),
        ),
    ),
    "time unknown": (
        watch.time_unknown(-86_400),
        Rendered(
            "Watch blind: time not certain",
            (
                "The clock of the machine and those of stations or feeds differ by 24 h. Nothing "
                "is judged until they agree.",
                "Look at the clock of the machine.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "time not confirmed": (
        watch.time_unknown(0),
        Rendered(
            "Watch blind: time not certain",
            (
                "No station or feed confirms the clock of the machine yet. Nothing is judged "
                "until they agree.",
                "Look at the clock of the machine.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "clock jumped": (
        watch.clock_jumped(-3600),
        Rendered(
            "The watch's clock jumped",
            (
                "The clock of the machine jumped back by 60 min. Ages and times it gave may be "
                "wrong.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "cannot judge": (
        watch.cannot_judge(SPEAKER, "a fault in the watch, KeyError", MORNING - 60, MORNING),
        Rendered(
            "Cannot see: the watch does not judge",
            (
                "Since 10:59 the watch judges nothing: no alert comes until it can again.",
                "Why: a fault in the watch, KeyError.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "cannot write": (
        watch.cannot_write(SPEAKER, "the disk is full", blind_since=None, now=MORNING),
        Rendered(
            "Check: the watch cannot write its log",
            (
                "It judges running jobs from memory and tells what changes. Jobs cannot be "
                "started, paused or ended until its log can be used.",
                "Why: the disk is full.",
                "Look after its machine: if it stops now, nobody watches.",
            ),
        ),
    ),
    "cannot write, after it could not judge": (
        watch.cannot_write(SPEAKER, "the disk is full", blind_since=MORNING - 600, now=MORNING),
        Rendered(
            "Check: the watch cannot write its log",
            (
                "From 10:50 to 11:00 it judged nothing.",
                "It judges running jobs from memory and tells what changes. Jobs cannot be "
                "started, paused or ended until its log can be used.",
                "Why: the disk is full.",
                "Look after its machine: if it stops now, nobody watches.",
            ),
        ),
    ),
    "sees again, judged from memory": (
        watch.sees_again(SPEAKER, MORNING, blind_since=None, unwritten_since=MORNING - 600),
        Rendered(
            "Watch sees again",
            (
                "From 10:50 to 11:00 it could not write its log. What stations said is kept as "
                "far as it came in; how the fields changed meanwhile is not.",
                "Running jobs were judged from memory meanwhile.",
            ),
        ),
    ),
    "sees again, judged nothing": (
        watch.sees_again(SPEAKER, MORNING, blind_since=MORNING - 600, unwritten_since=None),
        Rendered("Watch sees again", ("From 10:50 to 11:00 it judged nothing.",)),
    ),
    "stopping, the log unusable": (
        watch.stopping_blind("the disk is full"),
        Rendered(
            "Watch stops: nobody watches",
            (
                "The watch is being stopped and cannot use its log: from now on nobody watches "
                "any field.",
                "Why: the disk is full.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "log damaged in a job": (
        watch.log_lost(SPEAKER, DAMAGED, MORNING),
        Rendered(
            "The watch's log was damaged",
            (
                "A job on creek side may be running: start it again if you still spray. Until "
                "then nobody watches it.",
                "Take a reading at boom height, or stop.",
                "Its log could not be read any more. It was kept as "
                "watch.db.damaged-20260612T160000Z, and the watch goes on with a new one.",
                "Earlier readings, jobs, records and messages are not in it.",
                "Nobody watched from 10:28 to 11:00, 32 min.",
                "It watches again now.",
                "The disk has 40 MB left: move the old log elsewhere.",
            ),
        ),
    ),
    "log damaged, and nothing known of it": (
        watch.log_lost(
            SPEAKER,
            Loss(
                trouble="damaged",
                found_at=MORNING,
                known_until=None,
                watched_until=None,
                jobs=None,
                aside="watch.db.damaged-1",
            ),
            MORNING,
        ),
        Rendered(
            "The watch's log was damaged",
            (
                "Which jobs were running is not known. If you spray, start the job again: until "
                "then nobody watches it.",
                "Take a reading at boom height, or stop.",
                "Its log could not be read any more. It was kept as watch.db.damaged-1, and the "
                "watch goes on with a new one.",
                "Earlier readings, jobs, records and messages are not in it.",
                "It watches again now.",
            ),
        ),
    ),
    "log an older copy": (
        watch.log_lost(
            SPEAKER,
            Loss(
                trouble="older",
                found_at=MORNING,
                known_until=MORNING - 7200,
                watched_until=MORNING - 60,
                jobs=(),
                over=(LOST_JOB,),
            ),
            MORNING,
        ),
        Rendered(
            "The watch's log is an older copy",
            (
                "The job on creek side counts as running now: finish or abandon it if it is over.",
                "The newest part of its log is missing. The watch goes on with what there is.",
                "It knows nothing from 09:00 to 10:59.",
                "It watches again now.",
            ),
        ),
    ),
    "log of another watch": (
        watch.log_lost(
            SPEAKER,
            Loss(
                trouble="another",
                found_at=MORNING,
                known_until=MORNING - 7200,
                watched_until=MORNING - 60,
                jobs=(),
                aside="watch.db.another-1",
            ),
            MORNING,
        ),
        Rendered(
            "The watch's log was another one",
            (
                "In place of its log there was another one. It was kept as watch.db.another-1, "
                "and the watch goes on with a new one. If you put it there yourself: stop the "
                "watch, give it its name back, and remove the file beside it that ends in "
                ".known.json.",
                "Earlier readings, jobs, records and messages are not in it.",
                "It watches again now.",
            ),
        ),
    ),
    "farm mistaken": (
        watch.farm_mistaken(
            SPEAKER,
            ["/srv/farm.toml: fields.hill.crop: is missing\n    write it", "b", "c", "d"],
            MORNING - 86_400,
            MORNING,
        ),
        Rendered(
            "The farm file has a mistake",
            (
                "The watch runs with the farm as it was at yesterday 11:00, until the mistake is "
                "mended.",
                "farm.toml: fields.hill.crop: is missing write it.",
                "b.",
                "c.",
                "and 1 more, listed by watcher check.",
            ),
        ),
    ),
    "not started": (
        watch.not_started(["farm.toml: is not TOML"]),
        Rendered(
            "The watch does not start",
            (
                "Nobody watches any field until this is mended.",
                "farm.toml: is not TOML.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "fault": (
        watch.faulty(["field closing", "field open"], "ZeroDivisionError"),
        Rendered(
            "Watch has a fault",
            (
                "A fault in the watch (ZeroDivisionError): no alerts of field closing, "
                "field open until it is mended. Everything else goes on.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "unreachable": (
        watch.unreachable("sprayer_operator", "error=404."),
        Rendered(
            "Not reached: sprayer operator",
            (
                "Messages to sprayer operator do not arrive: error 404.",
                "Mend the address in the settings, or tell sprayer operator by other means.",
            ),
        ),
    ),
    "unwatched": (
        job.unwatched("creek_side", "its field is gone"),
        Rendered(
            "Not watched: creek side",
            (
                "The job on creek side cannot be watched: its field is gone.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "forgotten": (
        job.forgotten(SPEAKER, PLACE, over_s=2400.0, now=MORNING),
        Rendered(
            "Still spraying creek side?",
            (
                "The job on creek side was planned to end at 10:20, 40 min ago.",
                "Finish or abandon it if it is done: the watch goes on watching it until then.",
            ),
        ),
    ),
    "retardant worn": (
        job.retardant_worn(PLACE, tank_age_s=3660.0),
        Rendered(
            "Retardant worn: creek side",
            (
                "This tank has been going round for 61 min. Polyacrylamide is sheared by the pump "
                "within about an hour: drops are finer now than they were.",
                "Do not count on it: a coarser setup, less wind, or a fresh tank.",
            ),
        ),
    ),
    "not acknowledged": (
        job.not_acknowledged(
            Text(as_it_is("Stop hill"), (as_it_is("Stop spraying."),)), "operator", 300.0
        ),
        Rendered(
            "Stop hill",
            ("operator has not acknowledged this for 5 min.", "Stop spraying."),
        ),
    ),
    "sources": (
        sources.wrong(
            SPEAKER,
            [
                ("source silent", SourceView("mast", 1260, 900.0, "no answer")),
                ("source stuck", SourceView("barn", 60, 900.0, stuck=("wind_m_s", "gust_m_s"))),
                ("source disagrees", SourceView("yard", 60, 900.0, disagrees=("temp_c",))),
            ],
            MORNING,
        ),
        Rendered(
            "Weather: mast silent, barn stuck +1",
            (
                "mast has been silent for 21 min, since 10:39 (no answer).",
                "See that it has power and that its line to this machine works.",
                "barn: wind, gust stands still and is not used.",
                "Look at the sensor: it may be jammed, iced or badly wired.",
                "yard: temperature is far from the forecast for this hour: one of them is wrong.",
                "Compare both with a hand-held reading.",
                "Fields that hang on it are unknown until it is mended: rely on a hand-held "
                "reading.",
            ),
        ),
    ),
    "sources back": (
        sources.back(["mast", "barn"]),
        Rendered("Weather back: mast, barn", ("mast is well again.", "barn is well again.")),
    ),
}


@pytest.mark.parametrize("name", list(TEXTS))
def test_a_text_word_for_word(name):
    text, wanted = TEXTS[name]
    assert english(text) == wanted
    assert len(wanted.title) <= TITLE_ROOM


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.01, "less than 1 in 10"),
        (0.1, "1 in 10"),
        (0.34, "3 in 10"),
        (0.97, "9 in 10 or better"),
    ],
)
def test_a_chance_is_said_as_times_in_ten(share, said):
    assert english(tenths(share)) == said


def nowcast(**front):
    """A nowcast with a chance of 0.42 for the wind and 0.2 for the gust."""
    signs = {"wind_rose": False, "wind_turned": False, "air_cooled": False, "pressure_rose": False}
    sizes = {"wind_rise_m_s": 4.0, "turn_deg": 70.0, "cooling_k": 3.0, "pressure_rise_pa": 60.0}
    seen = {"warns": bool(front)} | signs | sizes | front
    return SimpleNamespace(
        mean_ahead=SimpleNamespace(chance=np.array([0.42])),
        gust_chance=SimpleNamespace(chance=np.array([0.2]), unknown=np.array([False])),
        front=SimpleNamespace(**{name: np.array([value]) for name, value in seen.items()}),
    )


def test_a_likely_wind_says_its_chance_and_that_of_a_gust():
    said = wind_warning.likely(
        SPEAKER, nowcast(), bound(Limit.WIND, 4.4704), bound(Limit.GUST, 6.7056)
    )
    assert english(said.titles) == [
        "wind 4 in 10 over 10 mph",
        "too windy, 4 in 10",
        "too windy soon",
    ]
    assert english(said.evidence) == [
        "The wind passes 10 mph within ten minutes with a chance of 4 in 10.",
        "A gust over 15 mph comes with a chance of 2 in 10.",
    ]


def test_signs_of_a_front_are_named_with_their_sizes():
    seen = nowcast(wind_rose=True, wind_turned=True, air_cooled=True)
    said = wind_warning.likely(SPEAKER, seen, bound(Limit.WIND, 4.4704), None)
    assert english(said.evidence[-1]) == (
        "Signs of a gust front within minutes: wind up 9 mph, wind turned 70°, air 5.4 °F cooler."
    )


def test_a_gust_whose_chance_is_not_known_is_left_out():
    blind = nowcast()
    blind.gust_chance.unknown[0] = True
    said = wind_warning.likely(SPEAKER, blind, bound(Limit.WIND, 4.4704), bound(Limit.GUST, 6.7056))
    assert not any("gust" in english(line).lower() for line in said.evidence)


@pytest.mark.parametrize(("gust_mph", "against"), [(12.8, "within"), (16.0, "over")])
def test_usual_gusts_are_held_against_their_bound(gust_mph, against):
    said = wind_warning.usual_gusts_line(
        SPEAKER, factor=1.6, gust_m_s=gust_mph * 0.44704, bound_m_s=15 * 0.44704
    )
    assert english(said) == (
        "Gusts are usually 1.6 times the wind at the station: "
        f"about {gust_mph:.0f} mph at the boom in this wind, {against} the limit of 15 mph."
    )
