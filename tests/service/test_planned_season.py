"""Small simulated seasons through the plan, the ranking and hindsight; one is known by hand."""

import numpy as np
import pytest

from tests.support.simulated_season import FIRST, WINDS, at, farm, keep
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.planned_season import LeftOutDay, PlannedDay, Strategy, WayTotal, planned_days
from watcher.store.database import Database


def season(log: Database, of: Farm, days: int) -> list[PlannedDay]:
    with log.reading() as session:
        return list(planned_days(session, FarmArrays.of(of), at(0, 0), at(days, 0)))


def sprayed(day: PlannedDay, way: Strategy) -> list[tuple[str, bool | None]]:
    return [(job.step.field, job.held) for job in day.jobs[way]]


def test_a_season_known_by_hand(log: Database) -> None:
    """Day 0 comes as foretold; on day 1 one window fails to come, on day 2 one comes unforetold.

    Day 3 has no forecast of its morning, day 4 no readings.
    """
    both = {"hill": 8, "creek_side": 14}
    hill = {"hill": 8}
    keep(log, {0: both, 1: both, 2: hill, 4: both}, {0: both, 1: hill, 2: both, 3: both}, (4,))
    days = season(log, farm(), 5)
    assert [day.left_out for day in days] == [
        None, None, None, LeftOutDay.NOT_FORETOLD, LeftOutDay.NOT_MEASURED,
    ]  # fmt: skip
    finished = [("hill", True), ("creek_side", True)]
    for way in (Strategy.PLAN, Strategy.RANKING):
        found = [sprayed(day, way) for day in days[:3]]
        assert found == [finished, [("hill", True), ("creek_side", False)], finished[:1]]
        assert [day.missed(way) for day in days[:3]] == [0, 0, 1]
    assert [sprayed(day, Strategy.PERFECT) for day in days[:3]] == [
        finished,
        finished[:1],
        finished,
    ]
    begun = [job.step.starts_at for job in days[0].jobs[Strategy.RANKING]]
    assert begun == [at(0, 8), at(0, 14)]  # as soon as each is open
    totals = {way: WayTotal() for way in Strategy}
    for day in days[:3]:
        for way, total in totals.items():
            total.add(day, way)
    # A clean field is worth 1, one with moderate weeds 1.15; a job that breaks costs a quarter.
    knows = WayTotal(5, 0, 0, pytest.approx(3 + 2 * 1.15), 0)  # type: ignore[arg-type]
    guesses = WayTotal(4, 1, 0, pytest.approx(3 + 1.15 * 0.75), 1)  # type: ignore[arg-type]
    assert totals == {Strategy.PLAN: guesses, Strategy.RANKING: guesses, Strategy.PERFECT: knows}


def test_a_field_that_was_sprayed_is_not_asked_for(log: Database) -> None:
    both = {"hill": 8, "creek_side": 14}
    keep(log, {0: both}, {0: both})
    (day,) = season(log, farm(done_on=FIRST), 1)
    assert {way: sprayed(day, way) for way in Strategy} == {
        way: [("creek_side", True)] for way in Strategy
    }


def test_who_knows_what_comes_is_never_worse(log: Database) -> None:
    rng = np.random.default_rng(5)
    foretold, came = (
        {day: {name: int(rng.integers(7, 17)) for name in WINDS} for day in range(5)}
        for _ in range(2)
    )
    keep(log, foretold, came)
    days = season(log, farm(), 5)
    worth = {way: [sum(j.worth for j in day.jobs[way]) for day in days] for way in Strategy}
    assert all(day.left_out is None for day in days)
    for way in Strategy:
        assert all(np.array(worth[Strategy.PERFECT]) >= np.array(worth[way]))
        assert all(day.missed(Strategy.PERFECT) <= day.missed(way) for day in days)
    assert sum(worth[Strategy.PERFECT]) > sum(worth[Strategy.RANKING])
