"""What stands against a start, and in which words it is asked about."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.judge.start_check import Against, Obstacle, obstacles
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.messages.reasons import Speaker
from watcher.messages.start import obstacle_line

_PLAN = FarmArrays.of(build(tables()))
_NONE_AHEAD = np.r_[8.0, np.full(71, np.nan)]


def _found(given: dict[str, Any], field: str = "hill", **sky: Any) -> tuple[Obstacle, ...]:
    look = timeline(**sky)
    return obstacles(judged(FarmArrays.of(build(given)), look)[0], look.now_index, field, "coarse")


def _said(given: dict[str, Any], field: str = "hill", **sky: Any) -> list[str]:
    speaker = Speaker(build(given))
    return [str(obstacle_line(speaker, field, one, MORNING)) for one in _found(given, field, **sky)]


def _with(**changes: Any) -> dict[str, Any]:
    return tables() | changes


def test_nothing_stands_against_a_start_in_fair_weather() -> None:
    assert _found(tables()) == ()


def test_a_limit_of_the_label_is_told_with_whose_it_is() -> None:
    assert _said(tables(), wind_mph=12.0, gust_mph=14.0)[0] == (
        "wind 12 mph, at most 10 mph (label): 2 mph over"
    )


def test_everything_that_is_broken_is_told_the_worst_first() -> None:
    found = _found(tables(), wind_mph=12.0, gust_mph=20.0)
    assert [one.token for one in found] == ["gust broken", "wind broken"]


def test_what_cannot_be_judged_names_the_quantity_and_the_source() -> None:
    assert _said(tables(), gust_mph=np.nan) == [
        "cannot be judged: gust unknown: no value to rely on; see to mast"
    ]


def test_a_start_whose_end_is_not_known_is_asked_about() -> None:
    sprayers = tables()["sprayers"]
    sprayers["boom"]["speed"] = "4 mph"  # an hour and a half
    found = _with(sprayers=sprayers)
    [one] = _found(found, gust_mph=_NONE_AHEAD)
    assert (one.against, one.at) == (Against.UNKNOWN, MORNING + 3600)
    assert _said(found, gust_mph=_NONE_AHEAD) == [
        "cannot be judged from 12:00 on: gust unknown: no value to rely on; see to mast"
    ]


def test_the_hours_ahead_do_not_matter_beyond_the_end_of_the_job() -> None:
    # The job takes 43 minutes, and the value of an hour stands for it.
    assert _found(tables(), gust_mph=_NONE_AHEAD) == ()


def test_an_hour_that_ends_before_the_job_does_leaves_a_part() -> None:
    rule = {"kind": "clock", "closes": "11:20", "origin": "label"}
    product = {"name": "A", "registration": "0-0", "rules": [rule]}
    fields = tables()["fields"]
    fields["hill"]["products"] = ["a"]
    found = _with(products={"a": product}, fields=fields)
    assert _said(found) == [
        "only until 11:20, hours of the day (label, product a): 47% of the job is done by then"
    ]


def test_a_buffer_asks_to_leave_its_strip() -> None:
    neighbours = tables()["neighbours"]
    neighbours["orchard"] |= {"no_spray_distance": "60 ft", "tolerable_deposit": "100 %"}
    found = _with(neighbours=neighbours)
    [one] = _found(found, "creek_side", wind_from_deg=180.0)
    assert one.against is Against.STRIP
    [said] = _said(found, "creek_side", wind_from_deg=180.0)
    assert said.startswith(
        "orchard downwind to the N, 33 ft: no-spray distance 60 ft (label); leave 27 ft unsprayed"
    )


@pytest.mark.parametrize("wind_mph", [2.0, 12.0])
def test_a_low_bound_and_a_high_one_are_one_limit(wind_mph: float) -> None:
    tokens = [one.token for one in _found(tables(), wind_mph=wind_mph, gust_mph=13.0)]
    assert tokens == ["wind broken"]


_DRAWN = st.sampled_from([np.nan, 2.0, 6.0, 9.0, 12.0])


@given(now=_DRAWN, later=_DRAWN, gust=_DRAWN, direction=st.sampled_from([0.0, 180.0, np.nan]))
def test_a_start_is_asked_about_wherever_the_field_is_not_open(
    now: float, later: float, gust: float, direction: float
) -> None:
    look = timeline(wind_mph=np.r_[now, np.full(71, later)], gust_mph=gust, wind_from_deg=direction)
    judgement = judged(_PLAN, look)[0]
    for f, field in enumerate(_PLAN.fields):
        for s, setup in enumerate(_PLAN.setups):
            found = obstacles(judgement, look.now_index, field, setup)
            grave = any(one.against in {Against.BROKEN, Against.UNKNOWN} for one in found)
            assert grave == (judgement.status[f, s, look.now_index] < Status.MARGINAL)


@pytest.mark.parametrize(("minutes", "against"), [(42, True), (44, False)])
def test_what_closes_before_the_end_of_the_job_stands_against_it(
    minutes: int, against: bool
) -> None:
    """The job takes 43 minutes."""
    rule = {"kind": "clock", "closes": f"11:{minutes}", "origin": "label"}
    product = {"name": "A", "registration": "0-0", "rules": [rule]}
    fields = tables()["fields"]
    fields["hill"]["products"] = ["a"]
    found = _found(_with(products={"a": product}, fields=fields))
    assert [one.against for one in found] == ([Against.CLOSES] if against else [])
    for one in found:
        assert one.at == MORNING + 60 * minutes
        assert one.share == pytest.approx(minutes / 43.0, abs=0.02)


def test_a_limit_that_does_not_hold_now_is_told_with_no_share_of_the_job() -> None:
    (one,) = _found(tables(), wind_mph=12.0, gust_mph=13.0)
    assert (one.against, one.at, one.share) == (Against.BROKEN, MORNING, 0.0)
