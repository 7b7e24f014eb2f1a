"""Bars, scales and elements: lengths as told, nothing that becomes markup, gaps as gaps."""

import math
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.farm.models import Origin
from watcher.judge.reasons import Reason
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState
from watcher.units import Kind
from watcher.web.svg.headroom_bar import headroom_bar
from watcher.web.svg.past import Curve, past_chart
from watcher.web.svg.scale import Scale, runs, stretches, wall_hours
from watcher.web.svg.svg import el

BERLIN = ZoneInfo("Europe/Berlin")


def _reason(stand: LimitState, headroom: float) -> Reason:
    return Reason(Limit.WIND, stand, 4.0, 1.0, 5.0, Origin.LABEL, headroom)


def _bars(stand: LimitState, headroom: float) -> dict[str, tuple[float, float]]:
    drawn = ElementTree.fromstring(str(headroom_bar(_reason(stand, headroom), 0.15)))
    return {
        bar.attrib["class"]: (float(bar.attrib["x"]), float(bar.attrib["width"]))
        for bar in drawn.iter("rect")
    }


def test_twice_the_room_is_twice_the_length() -> None:
    start, short = _bars(LimitState.HOLDS, 0.3)["left"]
    same_start, long = _bars(LimitState.HOLDS, 0.6)["left"]
    assert start == same_start
    assert long == pytest.approx(2 * short)


def test_what_is_broken_lies_on_the_other_side_of_the_post() -> None:
    post, _ = _bars(LimitState.HOLDS, 0.3)["left"]
    start, length = _bars(LimitState.BROKEN, -0.5)["over"]
    assert start + length == pytest.approx(post)


def test_what_is_unknown_has_no_length() -> None:
    assert set(_bars(LimitState.UNKNOWN, math.nan)) == {"nothing"}


def test_more_room_than_a_whole_scale_is_the_whole_length() -> None:
    assert _bars(LimitState.HOLDS, math.inf) == _bars(LimitState.HOLDS, 1.0)


@given(st.text())
def test_no_text_becomes_markup(text: str) -> None:
    text = "".join(c for c in text if c.isprintable())
    drawn = ElementTree.fromstring(str(el("text", text, class_=text)))
    assert drawn.text == (text or None)
    assert drawn.attrib["class"] == text
    assert len(drawn) == 0


@given(st.floats(-1e3, 1e3), st.floats(0.1, 1e3))
def test_ticks_are_few_round_and_inside(low: float, width: float) -> None:
    scale = Scale(low, low + width, 0.0, 100.0)
    ticks = scale.ticks(5)
    assert len(ticks) <= 6
    assert all(low - 1e-6 <= tick <= low + width + 1e-6 for tick in ticks)


def test_a_missing_value_is_a_gap() -> None:
    x, y = np.arange(5.0), np.array([1.0, 2.0, np.nan, 4.0, np.nan])
    assert list(runs(x, y)) == [[(0.0, 1.0), (1.0, 2.0)], [(3.0, 4.0)]]


def test_stretches_are_found_to_the_ends() -> None:
    marks = np.array([True, False, True, True])
    assert list(stretches(marks)) == [(0, 1), (2, 4)]


def test_hours_are_the_farms_own_through_a_clock_change() -> None:
    # 2026-03-29 02:00 to 03:00 does not exist in Berlin; 00:00 there is 23:00 UTC the day before.
    midnight = 1_774_738_800
    found = list(wall_hours(midnight, midnight + 23 * 3600, BERLIN, 6))
    assert [word for _, word in found] == ["03-29", "06", "12", "18", "03-30"]
    assert found[1][0] - found[0][0] == 5 * 3600


def test_a_peak_is_drawn_however_many_readings_there_are() -> None:
    times = 1_781_107_200 + 10 * np.arange(20_000)
    wind = np.full(times.size, 3.0)
    wind[12_345] = 30.0
    drawn = past_chart(
        times,
        [Curve("wind", wind)],
        kind=Kind.SPEED,
        span=(int(times[0]), int(times[-1])),
        zone=BERLIN,
        system="metric",
        label="wind",
    )
    assert drawn is not None
    line = next(
        p.attrib["d"]
        for p in ElementTree.fromstring(str(drawn)).iter("path")
        if p.attrib["class"] == "curve wind"
    )
    heights = [float(part.split()[1]) for part in line[1:].split("L")]
    assert min(heights) < 0.2 * max(heights)  # up is a smaller y
    assert len(heights) < 1000


def test_nothing_measured_is_nothing_drawn() -> None:
    empty = past_chart(
        np.arange(3),
        [Curve("wind", np.full(3, np.nan))],
        kind=Kind.SPEED,
        span=(0, 3),
        zone=BERLIN,
        system="us",
        label="wind",
    )
    assert empty is None
