"""Laws of plans, and plans of tiny farms against every order there is."""

from dataclasses import replace
from itertools import pairwise, permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.choices import of_groups
from watcher.planning import optimum
from watcher.planning.choices import Choices
from watcher.planning.day_plan import (
    KEEPS_WITHIN,
    DayPlan,
    NotPlanned,
    Planner,
    Wish,
    WishError,
    Wishes,
)
from watcher.planning.optimum import best_order
from watcher.planning.orders import Order, Orders

NOW = 1_780_000_200
HALF_HOUR = 1800
SOLVER_S = 60.0  # of the wall: far more than a tiny farm takes


def choices(
    seed: int, *, sprayers: int = 2, fields: int = 4, starts: int = 10, groups: int = 2
) -> Choices:
    """A farm of random chances; jobs and changes take whole half hours."""
    rng = np.random.default_rng(seed)
    shape = (sprayers, fields, starts)
    duration_s = HALF_HOUR * rng.integers(1, 5, (sprayers, fields, 1)).astype(float)
    change_s = HALF_HOUR * rng.integers(1, 3, (groups, groups)).astype(float)
    np.fill_diagonal(change_s, 0.0)
    return Choices(
        sprayers=tuple(f"sprayer {k}" for k in range(sprayers)),
        fields=tuple(f"field {f}" for f in range(fields)),
        starts=NOW + HALF_HOUR * np.arange(starts),
        chance=np.where(rng.random(shape) < 0.4, 0.0, rng.random(shape)),
        duration_s=np.broadcast_to(duration_s, shape),
        worth=np.broadcast_to(rng.choice([1.0, 1.15, 1.3], (fields, 1)), shape),
        **of_groups(rng.integers(0, groups, fields), change_s, sprayers, starts),
    )


def with_tips(seed: int, **more: int) -> Choices:
    """Such a farm, where a job takes one of two kinds of tips by its start, and one driver has both
    sprayers."""
    of = choices(seed, **more)
    rng = np.random.default_rng(seed + 1)
    states = 2 * len(of.change_s)
    change_s = HALF_HOUR * rng.integers(1, 3, (states, states)).astype(float)
    np.fill_diagonal(change_s, 0.0)
    state = 2 * of.state + rng.integers(0, 2, of.state.shape)
    units = (tuple(range(len(of.sprayers))),)
    return replace(of, state=state, change_s=change_s, units=units)


def planner(of: Choices) -> Planner:
    return Planner(of, ("fan",), np.zeros(of.chance.shape, dtype=np.intp))


def best_of_all(of: Choices) -> float:
    """Every order of every choice of fields over two sprayers, each at its best starts."""
    orders, fields = Orders(of), range(len(of.fields))
    found = 0.0
    for count in range(len(of.fields) + 1):
        for chosen in permutations(fields, count):
            for cut in range(count + 1):
                found = max(found, orders.timed((chosen[:cut], chosen[cut:])).worth)
    return found


def by_hand(
    of: Choices, unit: tuple[int, ...], fields: tuple[int, ...], at: float, last: int | None
) -> float:
    """The worth of an order by trying every start and sprayer of each job in turn."""
    if not fields:
        return 0.0
    field, found = fields[0], -np.inf
    for k in unit:
        for b in np.flatnonzero(np.isfinite(of.value[k, field])):
            state = int(of.state[k, field, b])
            if of.starts[b] >= at + (0.0 if last is None else of.change_s[last, state]):
                after = by_hand(of, unit, fields[1:], of.ends_s[k, field, b], state)
                found = max(found, of.value[k, field, b] + after)
    return found


SEEDS = st.integers(0, 10_000)


@given(SEEDS)
def test_an_order_has_the_best_of_all_starts(seed: int) -> None:
    of = choices(seed, sprayers=1, fields=3, starts=7)
    for order in permutations(range(3)):
        worth, jobs = Orders(of).of_unit(0, order)
        assert worth == pytest.approx(by_hand(of, (0,), order, NOW, None))
        if np.isfinite(worth):
            parts = [of.value[k, f, b] for f, (k, b) in zip(order, jobs, strict=True)]
            assert worth == pytest.approx(sum(parts))


@given(SEEDS)
def test_so_has_an_order_with_other_tips_and_another_sprayer_between(seed: int) -> None:
    of = with_tips(seed, fields=3, starts=6)
    for order in permutations(range(3), 2):
        worth, jobs = Orders(of).of_unit(0, order)
        assert worth == pytest.approx(by_hand(of, (0, 1), order, NOW, None))
        if np.isfinite(worth):
            parts = [of.value[k, f, b] for f, (k, b) in zip(order, jobs, strict=True)]
            assert worth == pytest.approx(sum(parts))


@pytest.mark.parametrize("seed", range(6))
def test_the_optimum_of_one_driver_is_the_best_of_every_order(seed: int) -> None:
    of = with_tips(seed, starts=8)
    orders = Orders(of)
    greedy = orders.greedy()
    found = best_order(of, greedy, orders.timed(greedy), SOLVER_S)
    every = (order for n in range(5) for order in permutations(range(4), n))
    best = max(orders.of_unit(0, order)[0] for order in every)
    assert orders.timed(found).worth == pytest.approx(best, rel=0.006)


@given(SEEDS, st.booleans())
def test_a_driver_is_with_one_sprayer_at_a_time_and_changes_over_in_between(
    seed: int, solved: bool
) -> None:
    of = with_tips(seed)
    plan = planner(of).plan(at_most_s=SOLVER_S if solved else 0.0)
    for one, other in pairwise(plan.steps):
        assert one.ends_at + other.change_s <= other.starts_at
        states = [
            of.state[of.sprayers.index(s.sprayer), of.fields.index(s.field)][
                int(np.searchsorted(of.starts, s.starts_at))
            ]
            for s in (one, other)
        ]
        assert other.change_s == of.change_s[states[0], states[1]]


@given(SEEDS)
def test_another_driver_never_lowers_the_worth(seed: int) -> None:
    of = with_tips(seed)
    alone = planner(of).plan(at_most_s=SOLVER_S)
    two = planner(replace(of, units=())).plan(at_most_s=SOLVER_S)
    assert two.worth >= alone.worth * (1 - 0.006) - 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_the_optimum_of_a_tiny_farm_is_the_best_of_every_order(seed: int) -> None:
    of = choices(seed)
    orders = Orders(of)
    greedy = orders.greedy()
    found = best_order(of, greedy, orders.timed(greedy), SOLVER_S)
    assert orders.timed(found).worth == pytest.approx(best_of_all(of), rel=0.006)


def free_of_overlap(of: Choices, plan: DayPlan) -> None:
    assert len({step.field for step in plan.steps}) == len(plan.steps)
    for sprayer in of.sprayers:
        steps = [step for step in plan.steps if step.sprayer == sprayer]
        for one, other in pairwise(steps):
            assert one.ends_at + other.change_s <= other.starts_at
    for step in plan.steps:
        k, f = of.sprayers.index(step.sprayer), of.fields.index(step.field)
        b = int(np.searchsorted(of.starts, step.starts_at))
        assert of.chance[k, f, b] == step.chance > 0.0


@given(SEEDS, st.booleans())
def test_no_sprayer_is_in_two_places_and_no_field_is_done_twice(seed: int, solved: bool) -> None:
    of = choices(seed)
    plan = planner(of).plan(at_most_s=SOLVER_S if solved else 0.0)
    free_of_overlap(of, plan)
    assert {step.field for step in plan.steps} | set(plan.left_out) == set(of.fields)


@given(SEEDS)
def test_a_plan_at_once_is_the_greedy_one(seed: int) -> None:
    of = choices(seed)
    orders = Orders(of)
    plan = planner(of).plan(passes=0)
    free_of_overlap(of, plan)
    assert plan.worth == pytest.approx(orders.timed(orders.greedy()).worth)


@given(SEEDS)
def test_another_sprayer_never_lowers_the_worth(seed: int) -> None:
    of = choices(seed, sprayers=2)
    alone = planner(of.only(np.array([0]))).plan(at_most_s=SOLVER_S)
    assert planner(of).plan(at_most_s=SOLVER_S).worth >= alone.worth * (1 - 0.006) - 1e-9


@given(SEEDS)
def test_more_time_never_lowers_the_worth(seed: int) -> None:
    of = choices(seed)
    early = Wishes(home_by=int(of.starts[6]))
    shorter = planner(of).plan(early, at_most_s=SOLVER_S)
    assert planner(of).plan(at_most_s=SOLVER_S).worth >= shorter.worth * (1 - 0.006) - 1e-9
    assert all(step.ends_at <= of.starts[6] for step in shorter.steps)


@given(SEEDS)
def test_other_names_make_the_same_plan(seed: int) -> None:
    of = choices(seed)
    renamed = replace(of, fields=tuple(f"x{f}" for f in range(len(of.fields))))
    one, other = planner(of).plan(), planner(renamed).plan()
    assert [s.starts_at for s in one.steps] == [s.starts_at for s in other.steps]
    assert one.worth == other.worth


@given(SEEDS, st.integers(0, 3))
def test_a_field_that_shall_be_first_is_first_of_its_sprayer(seed: int, field: int) -> None:
    of = choices(seed)
    name = of.fields[field]
    if not np.isfinite(of.value[:, field]).any():
        with pytest.raises(WishError):
            planner(of).plan(Wishes(first=name))
        return
    plan = planner(of).plan(Wishes(first=name))
    free_of_overlap(of, plan)
    assert name in {fields[0] for fields in plan.order.values()}


def test_wishes_are_kept() -> None:
    of = choices(3, fields=6, starts=20)
    wishes = Wishes(not_these=frozenset({"field 1"}), only_with={"field 2": "sprayer 0"})
    plan = planner(of).plan(wishes)
    by_field = {step.field: step for step in plan.steps}
    assert plan.left_out["field 1"] is NotPlanned.WISHED
    assert by_field["field 2"].sprayer == "sprayer 0"


@pytest.mark.parametrize(
    ("other", "by"),
    [
        ({"only_with": {"a": "two"}}, Wish.ONLY_WITH),
        ({"home_by": NOW}, Wish.HOME_BY),
        ({"out": {"one": NOW + 10 * HALF_HOUR}}, Wish.OUT),
        ({"not_before": {"a": NOW + 10 * HALF_HOUR}}, Wish.NOT_TODAY),
        ({"not_these": frozenset({"a"})}, Wish.NOT_THIS),
        ({}, None),
    ],
)
def test_the_wish_that_stands_in_the_way_of_another_is_named(
    other: dict[str, Any], by: Wish | None
) -> None:
    of = two_alike(0.8).choices
    chance = np.concatenate([of.chance, np.zeros_like(of.chance)])
    if by is None:
        chance[:, 0] = 0.1
    of = replace(
        of,
        sprayers=("one", "two"),
        chance=chance,
        duration_s=np.full((2, 2, 4), 3600.0),
        worth=np.ones((2, 2, 4)),
        **of_groups(np.zeros(2, dtype=np.intp), np.zeros((1, 1)), 2, 4),
    )
    with pytest.raises(WishError) as found:
        planner(of).plan(Wishes(first="a", **other))
    assert (found.value.wish, found.value.field, found.value.by) == (Wish.FIRST, "a", by)


def test_of_several_wishes_that_each_stand_in_the_way_one_is_named() -> None:
    wishes = Wishes(first="a", home_by=NOW, not_before={"a": NOW + 10 * HALF_HOUR})
    with pytest.raises(WishError) as found:
        two_alike(0.8).plan(wishes)
    assert found.value.by is Wish.NOT_TODAY


def test_to_be_home_bars_the_evening_and_not_the_next_day() -> None:
    plan = two_alike(0.8, starts=10).plan(
        Wishes(home_by=NOW + 2 * HALF_HOUR, home_until=NOW + 6 * HALF_HOUR)
    )
    starts = [(s.starts_at - NOW) // HALF_HOUR for s in plan.steps]
    assert starts == [0, 6]


def test_my_order_stays_whatever_another_would_gain_and_takes_in_what_is_new() -> None:
    before = two_alike(0.2).plan()
    kept = two_alike(1.0).plan(Wishes(keeps_order=True), before=before)
    assert kept.order == before.order == {"one": ("a", "b")}
    alone = replace(before, steps=before.steps[1:])
    assert set(two_alike(0.8).plan(Wishes(keeps_order=True), before=alone).order["one"]) == {
        "a",
        "b",
    }


def test_why_a_field_is_left_out() -> None:
    of = choices(1, sprayers=1, fields=3, starts=4, groups=1)
    chance = np.full(of.chance.shape, 0.9)
    chance[0, 0] = np.nan
    chance[0, 1] = 0.1
    of = replace(of, chance=chance)
    reasons = {"field 0": NotPlanned.NOT_KNOWN, "field 1": NotPlanned.NO_HOUR}
    assert planner(of).plan().left_out == reasons
    home = planner(of).plan(Wishes(home_by=NOW))
    assert home.left_out == reasons | {"field 2": NotPlanned.HOME_BY}


def test_a_field_whose_hours_are_taken_by_others_is_left_out_for_want_of_time() -> None:
    plan = two_alike(0.8, starts=2).plan()
    assert plan.left_out == {"b": NotPlanned.NO_TIME}


def two_alike(first_chance: float, starts: int = 4) -> Planner:
    """Two fields of an hour each, of which one has a chance of its own at the first start."""
    times = NOW + HALF_HOUR * np.arange(starts)
    chance = np.full((1, 2, starts), 0.8)
    chance[0, 1, 0] = first_chance
    return planner(
        Choices(
            sprayers=("one",),
            fields=("a", "b"),
            starts=times,
            chance=chance,
            duration_s=np.full((1, 2, starts), 3600.0),
            worth=np.ones((1, 2, starts)),
            **of_groups(np.zeros(2, dtype=np.intp), np.zeros((1, 1)), 1, starts),
        )
    )


def test_the_order_stays_for_a_small_gain_and_turns_for_a_large_one() -> None:
    before = two_alike(0.2).plan()
    assert before.order == {"one": ("a", "b")}
    assert two_alike(0.8 + KEEPS_WITHIN).plan(before=before).order == {"one": ("a", "b")}
    assert two_alike(1.0).plan(before=before).order == {"one": ("b", "a")}


def test_another_first_field_is_planned_with_what_it_loses() -> None:
    plans = two_alike(0.2)
    plan = plans.plan()
    other = plans.losing(plan)["b"]
    assert other.order["one"][0] == "b"
    assert other.worth < plan.worth


@given(SEEDS)
def test_the_greedy_order_can_be_done_and_leaves_nothing_that_fits_behind_it(seed: int) -> None:
    of = choices(seed, sprayers=1)
    orders = Orders(of)
    (order,) = orders.greedy()
    assert orders.of_unit(0, order)[0] > 0.0 or not np.isfinite(of.value).any()
    last_end = of.starts[0]
    for field, (_, start) in zip(order, orders.of_unit(0, order)[1], strict=True):
        last_end = of.ends_s[0, field, start]
    state = of.state[0, :, 0]
    for field in set(range(len(of.fields))) - set(order):
        ready = last_end + of.change_s[state[order[-1]], state[field]] if order else 0
        assert not np.isfinite(of.value[0, field, of.starts >= ready]).any()


def test_a_network_that_is_too_large_leaves_the_order_as_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    of = choices(0)
    orders = Orders(of)
    known: Order = tuple(() for _ in of.driven)
    assert best_order(of, known, orders.timed(known), SOLVER_S) != known
    monkeypatch.setattr(optimum, "_MOST_ARCS", 10)
    assert best_order(of, known, orders.timed(known), SOLVER_S) == known


def test_no_order_is_worth_nothing() -> None:
    of = choices(0)
    none: Order = ((), ())
    assert Orders(of).timed(none).worth == 0.0


@given(SEEDS)
def test_a_dispatcher_obeys_starts_and_changes_and_is_no_better_than_the_best(seed: int) -> None:
    bare = choices(seed)
    of = replace(bare, chance=np.where(bare.chance > 0.5, 1.0, 0.0))  # a forecast taken as true
    found = planner(of).dispatched()
    assert found.worth <= best_of_all(of) + 1e-9
    assert len({step.field for step in found.steps}) == len(found.steps)
    assert all(step.chance == 1.0 for step in found.steps)
    for sprayer in found.order:
        mine = [step for step in found.steps if step.sprayer == sprayer]
        for job, after in pairwise(mine):
            assert after.starts_at >= job.ends_at + after.change_s


def test_a_dispatcher_takes_the_field_with_the_fewest_open_starts() -> None:
    of = choices(1, sprayers=1, fields=2, starts=6, groups=1)
    chance = np.zeros((1, 2, 6))
    chance[0, 0] = 1.0  # open all along
    chance[0, 1, 1:3] = 1.0  # for two starts
    of = replace(of, chance=chance, duration_s=np.full(chance.shape, float(HALF_HOUR)))
    steps = planner(of).dispatched().steps
    # It does not look ahead: the field that is always open goes first where it alone is open.
    assert [(s.field, (s.starts_at - NOW) // HALF_HOUR) for s in steps] == [
        ("field 0", 0),
        ("field 1", 1),
    ]
