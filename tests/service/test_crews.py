"""Who may have which sprayers: one at work at a time, within their hours to the minute."""

from dataclasses import replace
from datetime import datetime, time
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.choices import of_groups
from watcher.farm.planning import Driver, WorkingHours
from watcher.planning.choices import Choices
from watcher.planning.day_plan import NotPlanned, Planner
from watcher.service.crews import BusySprayer, crews

ZONE = ZoneInfo("America/Chicago")
MIDNIGHT = int(datetime(2026, 6, 10, tzinfo=ZONE).timestamp())
HALF_HOUR, HOUR = 1800, 3600


def choices(sprayers: int = 2, fields: int = 2, hours: int = 24, chance: float = 0.9) -> Choices:
    """Jobs of an hour in one place, alike at every half hour of a day from midnight."""
    shape = (sprayers, fields, 2 * hours)
    return Choices(
        sprayers=tuple(f"s{k}" for k in range(sprayers)),
        fields=tuple(f"f{f}" for f in range(fields)),
        starts=MIDNIGHT + HALF_HOUR * np.arange(2 * hours),
        chance=np.full(shape, chance),
        duration_s=np.full(shape, float(HOUR)),
        worth=np.ones(shape),
        **of_groups(np.zeros(fields, dtype=np.intp), np.zeros((1, 1)), sprayers, 2 * hours),
    )


def driver(*sprayers: str, hours: tuple[time, time] | None = None) -> Driver:
    own = None if hours is None else WorkingHours(start=hours[0], end=hours[1])
    return Driver(sprayers=sprayers, hours=own)


def planner(of: Choices, *held: BusySprayer, **drivers: Driver) -> Planner:
    none = np.zeros(of.chance.shape, dtype=np.intp)
    return Planner(of, ("fan",), none, crews(of, drivers, ZONE, held))


def test_without_drivers_every_sprayer_has_its_own() -> None:
    [crew] = crews(choices(), {}, ZONE, ())
    assert (crew.units, crew.drivers) == (((0,), (1,)), ("", ""))


def test_one_driver_has_both_sprayers_one_after_the_other() -> None:
    of = choices()
    chance = of.chance.copy()
    chance[0, 1], chance[1, 0] = 0.0, 0.0  # each field with a sprayer of its own
    of = replace(of, chance=chance)
    both = planner(of).plan().steps
    assert {step.starts_at for step in both} == {MIDNIGHT}
    one, other = planner(of, driver=driver()).plan().steps
    assert (one.driver, other.driver) == ("driver", "driver")
    assert {one.sprayer, other.sprayer} == {"s0", "s1"}
    assert other.starts_at >= one.ends_at


def test_whoever_may_drive_a_sprayer_gets_it_and_nobody_else() -> None:
    steps = planner(choices(), driver=driver("s0"), mate=driver("s1")).plan().steps
    assert {(step.sprayer, step.driver) for step in steps} == {("s0", "driver"), ("s1", "mate")}


def test_drivers_who_are_alike_are_one_way_of_sharing() -> None:
    hours = (time(6), time(17))
    of = choices()
    assert len(crews(of, {"driver": driver(), "mate": driver()}, ZONE, ())) == 2
    other = {"driver": driver(), "mate": driver(hours=hours)}
    assert len(crews(of, other, ZONE, ())) == 4


@pytest.mark.parametrize(
    ("start", "end", "first", "last_end"),
    [
        (time(6), time(9), 6.0, 9.0),
        (time(6, 10), time(8, 50), 6.5, 8.5),
        (time(22), time(2), 0.0, 2.0),  # across midnight: what is left of the night before
    ],
)
def test_nothing_is_done_outside_the_hours_of_its_driver(
    start: time, end: time, first: float, last_end: float
) -> None:
    of = choices(sprayers=1, fields=2, hours=20)
    steps = planner(of, driver=driver(hours=(start, end))).plan().steps
    assert steps[0].starts_at == MIDNIGHT + first * HOUR
    assert all(step.ends_at <= MIDNIGHT + last_end * HOUR for step in steps)


def test_a_field_whose_hours_nobody_works_in_says_so() -> None:
    of = choices(sprayers=1, hours=5)
    plan = planner(of, driver=driver(hours=(time(12), time(17)))).plan()
    assert plan.left_out == {"f0": NotPlanned.NOBODY, "f1": NotPlanned.NOBODY}


def test_a_driver_in_a_job_begins_nothing_with_another_sprayer() -> None:
    of = choices(fields=1)
    held = BusySprayer(0, MIDNIGHT + 2 * HOUR, None)
    [alone] = planner(of, held).plan().steps
    assert (alone.sprayer, alone.starts_at) == ("s1", MIDNIGHT)
    [step] = planner(of, held, driver=driver()).plan().steps
    assert step.starts_at == MIDNIGHT + 2 * HOUR


@pytest.mark.parametrize(("chance", "who"), [(0.94, "driver"), (1.0, "mate")])
def test_who_drives_what_stays_for_a_small_gain(chance: float, who: str) -> None:
    of = choices(sprayers=1, fields=1)
    found = {
        "driver": driver(hours=(time(0), time(12))),
        "mate": driver(hours=(time(12), time(20))),
    }
    before = planner(of, **found).plan()
    assert [step.driver for step in before.steps] == ["driver"]  # the earlier of two alike
    afternoon = np.where(of.starts >= MIDNIGHT + 12 * HOUR, chance, of.chance)
    better = planner(replace(of, chance=afternoon), **found)
    assert [step.driver for step in better.plan(before=before).steps] == [who]


@given(
    st.integers(0, 10_000),
    st.integers(0, 20),
    st.integers(1, 12),
    st.integers(0, 3),
    st.integers(0, 3),
)
def test_an_hour_more_of_a_driver_never_lowers_the_worth_nor_puts_one_in_two_places(
    seed: int, begins: int, lasts: int, before: int, after: int
) -> None:
    rng = np.random.default_rng(seed)
    of = choices(fields=4)
    of = replace(of, chance=np.where(rng.random(of.chance.shape) < 0.5, 0.0, rng.random()))
    end = min(begins + lasts, 23)
    few = WorkingHours(start=time(begins), end=time(end, 59))
    more = WorkingHours(start=time(max(begins - before, 0)), end=time(min(end + after, 23), 59))
    found = []
    for hours in (few, more):
        drivers = {"driver": Driver(hours=hours), "mate": Driver(sprayers=("s1",), hours=few)}
        plan = planner(of, **drivers).plan(at_most_s=60.0)
        found.append(plan.worth)
        for name, steps in plan.of_each.items():
            assert all(one.ends_at <= other.starts_at for one, other in pairwise(steps))
            for step in steps:
                within = drivers[name].hours
                assert within is not None
                assert clock(step.starts_at) >= within.start
                assert clock(step.ends_at) <= within.end
                assert not drivers[name].sprayers or step.sprayer in drivers[name].sprayers
        assert len({step.field for step in plan.steps}) == len(plan.steps)
    assert found[1] >= found[0] * (1 - 0.006) - 1e-9


def clock(at: int) -> time:
    return datetime.fromtimestamp(at, ZONE).time()
