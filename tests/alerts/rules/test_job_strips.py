"""A wind that turns in the middle of a job asks for other strips, and that is told."""

from typing import Any

import pytest

from tests.support.farms import build, tables
from tests.support.minutes import Minutes
from tests.support.skies import judged, timeline
from watcher.jobs.commands import take
from watcher.jobs.steps import StepName, StepRequest
from watcher.judge.start_check import obstacles

ONTO, AWAY = 180.0, 0.0
"""The orchard lies 33 ft north of ``creek_side``."""


@pytest.fixture
def watch(store: Any) -> Minutes:
    farm = tables()
    farm["neighbours"]["orchard"] |= {"susceptibility": "tolerant", "no_spray_distance": "60 m"}
    return Minutes(store, build(farm))


def see(watch: Minutes, wind_from: float, minutes: int = 3) -> list[str]:
    return watch.see(minutes, wind_mph=5.0, gust_mph=7.0, wind_from_deg=wind_from)


def test_a_strip_that_the_turned_wind_asks_for_is_told_once(watch: Minutes) -> None:
    watch.start()
    assert see(watch, AWAY) == []
    assert see(watch, ONTO) == ["Leave a strip creek side: orchard"]
    assert (
        "Orchard downwind to the N, 33 ft: no-spray distance 197 ft (label); leave 164 ft "
        "unsprayed on the N side: 2 passes, 4.96 acre.\n" in watch.newest()
    )
    assert see(watch, ONTO, 30) == []


def test_it_is_told_when_the_wind_has_turned_back_for_good(watch: Minutes) -> None:
    watch.start()
    see(watch, ONTO)
    assert see(watch, AWAY, 19) == []
    assert see(watch, AWAY, 3) == ["Strip over creek side: orchard"]


def test_a_gust_from_the_side_is_no_turn(watch: Minutes) -> None:
    watch.start()
    see(watch, AWAY)
    assert see(watch, ONTO, 1) == []
    assert see(watch, AWAY, 30) == []


def test_what_the_start_agreed_to_is_not_told_again(watch: Minutes) -> None:
    look = timeline(watch.now, wind_mph=5.0, gust_mph=7.0, wind_from_deg=ONTO)
    found = obstacles(judged(watch.plan, look)[0], look.now_index, "creek_side", "coarse")
    tokens = tuple(one.token for one in found)
    step = StepRequest(StepName.START, "", field="creek_side", setup="coarse", confirm=tokens)
    with watch.store.writing() as session:
        assert take(session, watch.plan, step, watch.now, lambda *_: found).job is not None
    assert see(watch, ONTO, 30) == []
