"""The daily messages after a start: they wait for the sources' first answers, and not for ever."""

from dataclasses import replace
from datetime import time
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select

from tests.support.farms import build, tables
from tests.support.new_log import new_log
from tests.support.skies import MORNING, judged, timeline
from watcher.alerts import cycle
from watcher.alerts.context import Begun
from watcher.alerts.enqueue import Enqueue
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.store.tables import Outgoing

FARM = build(tables() | {"brief": {"morning": time(10, 30), "evening": None}})
BEGUN = Begun(MORNING, first=True)


@pytest.fixture
def brief(tmp_path: Path):
    """Run one cycle some seconds after the start; return the texts of the brief by then."""
    store = new_log(tmp_path / "watch.db")
    post = Enqueue(Speaker(FARM), None)

    def run(after_s: int, *, answered: bool = False, begun: Begun | None = BEGUN, **sky) -> list:
        now = MORNING + after_s
        look = timeline(now=now, **sky)
        judgement, ranking = judged(FarmArrays.of(FARM), look)
        with store.writing() as session:
            if answered:
                reading = replace(look.series, source="mast").at(slice(0, 1))
                weather.add_observations(session, Observations(reading), now)
            cycle.run(session, post, judgement, look, ranking, begun=begun)
            rows = session.scalars(select(Outgoing).where(Outgoing.kind == "morning brief"))
            return [(row.title, row.body) for row in rows]

    yield run
    store.close()


def test_the_first_brief_waits_for_the_first_answers(brief) -> None:
    assert brief(0, wind_mph=np.nan) == []
    assert brief(30, answered=True)[0][0] == "Spray now: creek side, hill"


def test_it_waits_for_a_minute_and_names_who_said_nothing(brief) -> None:
    assert brief(59, wind_mph=np.nan) == []
    [(title, body)] = brief(60, wind_mph=np.nan)
    assert title == "Not known yet, no word from mast"
    lines = body.splitlines()
    assert lines[0] == "Of no field is it known whether it can be sprayed."
    assert lines[1] == "No fresh word from mast: see to it."
    assert not any("This brief was due" in line for line in lines)  # nobody waited for it


def test_a_later_start_says_that_the_brief_is_late(brief) -> None:
    [(_, body)] = brief(60, begun=Begun(MORNING, first=False))
    assert "This brief was due at 10:30: the watch was not running then." in body


def test_a_brief_that_was_told_is_not_told_again_after_a_restart(brief) -> None:
    assert len(brief(60)) == 1
    assert len(brief(70, begun=Begun(MORNING + 65, first=False))) == 1
    assert len(brief(130, begun=Begun(MORNING + 65, first=False))) == 1


def test_a_clock_set_back_does_not_keep_the_brief_waiting(brief) -> None:
    assert len(brief(0, begun=Begun(MORNING + 86_400, first=False))) == 1
