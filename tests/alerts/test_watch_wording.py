"""What the watch says of itself, its sources, recipients and of jobs at large, word for word."""

from types import SimpleNamespace

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.skies import MORNING
from watcher.alerts.source_sight import SourceSight
from watcher.alerts.wording import coming, job, sources, watch
from watcher.alerts.wording.job import JobPlace
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import TITLE_ROOM, Text
from watcher.farm.models import Origin
from watcher.judge.reasons import Reason
from watcher.judge.status import Limit, Stand
from watcher.store.tables import Job, Message

SPEAKER = Speaker(build(tables()))
PLACE = JobPlace("creek_side", "coarse", 1800.0)
HILL, CREEK = Job(field="hill"), Job(field="creek_side")
LOST = Message(
    title="Stop: hill, wind 12 mph", body="", caused_at=MORNING - 1200, recipient="operator"
)


def bound(limit, high):
    return Reason(limit, Stand.HOLDS, 3.0, 1.0, high, Origin.LABEL, 0.5)


TEXTS = {
    "was down": (
        watch.was_down(SPEAKER, MORNING - 1920, MORNING, crashed=True, jobs=[CREEK], lost=[LOST]),
        Text(
            "Watch was down 10:28 to 11:00",
            (
                "Nobody watched from 10:28 to 11:00, 32 min. It ended without a proper stop.",
                "creek side was being sprayed and not watched.",
                "Never arrived: Stop: hill, wind 12 mph (10:40, to operator).",
                "It watches again now.",
            ),
        ),
    ),
    "stopping": (
        watch.stopping([CREEK, HILL]),
        Text(
            "Watch stops: creek side, hill",
            (
                "From now on nobody watches creek side, hill: the watch is being stopped.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "clock jumped": (
        watch.clock_jumped(-3600),
        Text(
            "The watch's clock jumped",
            (
                "The clock of the machine jumped back by 60 min. Ages and times it told may be "
                "wrong.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "log unusable": (
        watch.log_unusable("the disk is full"),
        Text(
            "Watch blind: its log cannot be used",
            (
                "The watch cannot write its log: it takes in and judges nothing until it can.",
                "Why: the disk is full.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "sees again": (
        watch.sees_again(SPEAKER, MORNING - 600, MORNING),
        Text(
            "Watch sees again",
            (
                "Its log can be used again. From 10:50 to 11:00 it judged nothing; readings sent "
                "meanwhile may be missing.",
            ),
        ),
    ),
    "stopping, the log unusable": (
        watch.stopping_blind("the disk is full"),
        Text(
            "Watch stops: nobody watches",
            (
                "The watch is being stopped and cannot use its log: from now on nobody watches "
                "any field.",
                "Why: the disk is full.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "fault": (
        watch.faulty(["field closing", "field open"], "ZeroDivisionError"),
        Text(
            "Watch has a fault",
            (
                "A fault in the watch (ZeroDivisionError): nothing is told of field closing, "
                "field open until it is mended. Everything else goes on.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "unreachable": (
        watch.unreachable("sprayer_operator", "error=404."),
        Text(
            "Not reached: sprayer operator",
            (
                "Messages to sprayer operator do not arrive: error 404.",
                "Mend the address in the settings, or tell sprayer operator by other means.",
            ),
        ),
    ),
    "unwatched": (
        job.unwatched("creek_side", "its field is gone"),
        Text(
            "Not watched: creek side",
            (
                "The job on creek side cannot be watched: its field is gone.",
                "Take a reading at boom height, or stop.",
            ),
        ),
    ),
    "forgotten": (
        job.forgotten(SPEAKER, PLACE, over_s=2400.0, now=MORNING),
        Text(
            "Still spraying creek side?",
            (
                "The job on creek side was planned to end at 10:20, 40 min ago.",
                "Finish or abandon it if it is done: the watch goes on watching it until then.",
            ),
        ),
    ),
    "retardant worn": (
        job.retardant_worn(PLACE, tank_age_s=3660.0),
        Text(
            "Retardant worn: creek side",
            (
                "This tank has been going round for 61 min. Polyacrylamide is sheared by the pump "
                "within about an hour: drops are finer now than they were.",
                "Do not count on it: a coarser setup, less wind, or a fresh tank.",
            ),
        ),
    ),
    "not acknowledged": (
        job.not_acknowledged(Text("Stop: hill", ("Stop spraying.",)), "operator", 300.0),
        Text(
            "Stop: hill",
            ("operator has not acknowledged this for 5 min.", "Stop spraying."),
        ),
    ),
    "sources": (
        sources.wrong(
            SPEAKER,
            [
                ("source silent", SourceSight("mast", 1260, 900.0, "no answer")),
                ("source stuck", SourceSight("barn", 60, 900.0, stuck=("wind_m_s", "gust_m_s"))),
                ("source disagrees", SourceSight("yard", 60, 900.0, disagrees=("temp_c",))),
            ],
            MORNING,
        ),
        Text(
            "Weather: mast silent, barn stuck +1",
            (
                "mast has been silent for 21 min, since 10:39 (no answer).",
                "barn: wind, gust stands still and is not used.",
                "yard: temperature is far from the forecast for this hour: one of them is wrong.",
                "Fields that hang on it are unknown until it is mended: rely on a hand-held "
                "reading.",
            ),
        ),
    ),
    "sources back": (
        sources.back(["mast", "barn"]),
        Text("Weather back: mast, barn", ("mast is well again.", "barn is well again.")),
    ),
}


@pytest.mark.parametrize("name", list(TEXTS))
def test_a_text_word_for_word(name):
    said, wanted = TEXTS[name]
    assert said == wanted
    assert len(said.title) <= TITLE_ROOM


def test_signs_of_a_front_are_named_with_their_sizes():
    front = SimpleNamespace(
        wind_rise_m_s=np.array([4.0]),
        turn_deg=np.array([70.0]),
        cooling_k=np.array([3.0]),
        pressure_rise_pa=np.array([60.0]),
        wind_rose=np.array([True]),
        wind_turned=np.array([True]),
        air_cooled=np.array([True]),
        pressure_rose=np.array([False]),
    )
    said = coming.front(SPEAKER, SimpleNamespace(front=front))
    assert (said.head, said.title) == ("Gust front", "stop now")
    assert said.evidence == "Within minutes: wind up 9 mph, wind turned 70°, air 5.4 °F cooler."


def test_a_rising_wind_says_how_fast_and_when():
    trend = SimpleNamespace(slope_m_s_per_min=np.array([0.1]), expected_s=np.array([420.0]))
    said = coming.rising(SPEAKER, SimpleNamespace(trend=trend), bound(Limit.WIND, 4.4704))
    assert said.title == "10 mph in 7 min"
    assert said.evidence == (
        "The wind has been rising by 2 mph in ten minutes; its mean passes the bound of 10 mph in "
        "about 7 min."
    )


def test_a_chance_of_gusts_says_what_it_rests_on():
    chance = SimpleNamespace(
        chance=np.array([0.42]), mean_m_s=np.array([3.5763]), spread_m_s=np.array([0.89408])
    )
    said = coming.gusts(SPEAKER, SimpleNamespace(gust_chance=chance), bound(Limit.GUST, 6.7056))
    assert said.title == "42% over 15 mph"
    assert said.evidence == (
        "42% chance of a gust over 15 mph in the next ten minutes: the last ten had a mean of "
        "8 mph and a spread of 2.0 mph at the sensor."
    )
