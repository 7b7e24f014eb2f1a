"""The best hours to begin: those of the grid, day by day, and never more than is known."""

from datetime import datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.judge.best_starts import DayStarts, best_starts
from watcher.judge.chances import Chances, FarmChances
from watcher.judge.hour_grid import hour_row
from watcher.judge.timeline import Timeline
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.weather.series import Floats

HOUR = 3600
FARM = build(tables())
PLAN = FarmArrays.of(FARM)
STARTS = MORNING + HOUR * np.arange(72)  # from 11:00 on the farm's clock


def given_chances(held: Floats, at: int = MORNING) -> FarmChances:
    """Chances of 72 starts an hour apart, the same for every field and setup."""
    shape = (len(PLAN.fields), len(PLAN.setups), STARTS.size)
    every = np.broadcast_to(held, shape).copy()
    none = np.full(shape, -1, np.int8)
    behind = np.full(STARTS.size, 41)
    of = PLAN.fields, PLAN.setups, STARTS, PLAN.duration_s
    return FarmChances(at, (Chances(*of, every, every, none, behind),))


def found(look: Timeline, chances: FarmChances, field: str = "hill") -> tuple[DayStarts, ...]:
    return best_starts(judged(PLAN, look)[0], look.now_index, chances, field)


def clock(at: int) -> str:
    return f"{datetime.fromtimestamp(at, FARM.zone):%d %H:%M}"


def test_each_day_has_the_longest_run_of_its_best_tenths() -> None:
    held = np.full(72, 0.30)
    held[[2, 20, 21, 22, 24]] = 0.71, 0.62, 0.58, 0.64, 0.61
    today, tomorrow, _ = found(timeline(), given_chances(held))
    assert today.best is not None
    assert tomorrow.best is not None
    assert (clock(today.first_at), clock(today.last_at)) == ("10 13:00", "10 13:00")
    assert today.best.chance == 0.71
    assert (clock(tomorrow.first_at), clock(tomorrow.last_at)) == ("11 07:00", "11 09:00")
    assert today.known
    assert tomorrow.known


@pytest.mark.parametrize(("hour", "days"), [(0, 3), (1, 4), (8, 4), (18, 3)])
def test_the_days_are_those_whose_noon_lies_in_the_next_three(hour: int, days: int) -> None:
    look = timeline(MORNING + hour * HOUR)
    chances = given_chances(np.full(72, 0.5), at=MORNING + hour * HOUR)
    assert len(found(look, chances)) == days


def test_hours_nobody_foretells_are_not_known_and_no_no() -> None:
    blind = np.where(np.arange(72) >= 30, np.nan, 5.0)  # from 17:00 tomorrow on
    look = timeline(wind_mph=blind, gust_mph=blind * 1.5)
    today, tomorrow, after = found(look, given_chances(np.full(72, 0.5)))
    assert today.known
    assert tomorrow.best is not None
    assert not tomorrow.known
    assert after.best is None
    assert not after.known


def test_a_start_whose_chance_is_unknown_is_not_known() -> None:
    held = np.where(np.arange(72) >= 30, np.nan, 0.5)
    _, tomorrow, after = found(timeline(), given_chances(held))
    assert tomorrow.best is not None
    assert not tomorrow.known
    assert (after.best, after.known) == (None, False)


def test_a_day_without_an_open_hour_has_none_however_good_its_chances() -> None:
    hours = np.arange(72)
    windy = np.where((hours >= 13) & (hours < 37), 15.0, 5.0)  # from midnight to midnight
    look = timeline(wind_mph=windy, gust_mph=windy + 2.0)
    today, tomorrow, after = found(look, given_chances(np.ones(72)))
    assert (tomorrow.best, tomorrow.known) == (None, True)
    assert today.best is not None
    assert after.best is not None
    shut = found(timeline(gust_mph=17.0), given_chances(np.ones(72)))
    assert [(d.best, d.known) for d in shut] == [(None, True)] * 2  # of today nothing is said


def test_nothing_is_said_of_chances_that_are_old_or_not_there() -> None:
    assert found(timeline(), FarmChances(MORNING)) == ()
    assert found(timeline(), given_chances(np.ones(72), at=MORNING - 3 * HOUR)) == ()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1000))
def test_no_other_hour_of_the_grid_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    held = np.where(rng.random(72) < 0.1, np.nan, rng.random(72))
    wind = rng.choice([1.0, 5.0, 8.0, 15.0, np.nan], 72)
    look = timeline(wind_mph=wind, gust_mph=wind * 1.2)
    judgement, _ = judged(PLAN, look)
    chances = given_chances(held)
    for name in PLAN.fields:
        row = hour_row(judgement, PLAN.fields.index(name), slice(0, 72))
        open_then = row.status >= Status.MARGINAL
        tenths = np.where(open_then & np.isfinite(held), np.round(10 * np.nan_to_num(held)), -1)
        dates = np.array([datetime.fromtimestamp(t, FARM.zone).date() for t in STARTS.tolist()])
        for day in found(look, chances, name):
            most = tenths[dates == day.day].max()
            if day.best is None:
                assert most == -1
                continue
            run = (day.first_at <= STARTS) & (day.last_at >= STARTS)
            assert (tenths[run] == most).all()
            unknown = (row.status == Status.UNKNOWN) | (open_then & np.isnan(held))
            assert not (day.known and unknown[dates == day.day].any())
