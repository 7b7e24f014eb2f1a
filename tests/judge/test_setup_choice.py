"""The setup for a field: all fields at once are as each by itself, and by its own weather."""

import copy
import dataclasses

import numpy as np
import pytest

from tests.judge.test_farm_judgement import Look
from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import mixed_farm
from watcher.judge.farm_judgement import judge_each
from watcher.judge.judgement import Judgement
from watcher.judge.setup_choice import choose_each, choose_setup
from watcher.limits.catalogue import LIFTED_BY_SETUP_ALONE
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status

UNKNOWN = LimitState.UNKNOWN


@pytest.fixture(scope="module")
def judged() -> Judgement:
    """Two stations, the second in a wind from elsewhere: another side of the farm is exposed."""
    plan, series = FarmArrays.of(mixed_farm()), changeable_weather(48)
    hours = np.arange(len(series))
    series = series.having(  # now and then something is not known
        wind_from_deg=np.where(hours % 7 == 3, np.nan, series.wind_from_deg),
        temp_c=np.where(hours % 11 == 5, np.nan, series.temp_c),
        rain_mm_h=np.where(hours % 13 == 8, np.nan, series.rain_mm_h),
    )
    turned = series.having(wind_from_deg=(series.wind_from_deg + 150.0) % 360.0)
    return judge_each(
        plan, (Look(plan.fields[0::2], series, 0.2), Look(plan.fields[1::2], turned, 0.2))
    )


def test_the_choice_of_all_fields_at_once_is_that_of_each(judged: Judgement) -> None:
    for time in range(len(judged.series)):
        each = [choose_setup(judged, field, time) for field in range(len(judged.plan.fields))]
        assert choose_each(judged, time).tolist() == each


def test_a_field_is_chosen_for_by_the_weather_of_its_own_station(judged: Judgement) -> None:
    for field, own in judged.apart.items():
        for time in range(0, len(judged.series), 5):
            assert choose_setup(judged, field, time) == choose_setup(own, field, time)


def test_a_field_that_may_use_no_setup_has_none(judged: Judgement) -> None:
    plan = copy.copy(judged.plan)
    allowed = plan.allowed.copy()
    allowed[0] = False
    plan.__dict__["allowed"] = allowed
    without = dataclasses.replace(judged, plan=plan)
    assert choose_setup(without, 0, 0) is None
    assert choose_each(without, 0)[0] == -1
    assert np.array_equal(choose_each(without, 0)[1:], choose_each(judged, 0)[1:])


def test_of_the_setups_whose_loss_the_field_stands_the_one_that_drifts_least_is_chosen(
    judged: Judgement,
) -> None:
    plan, seen = judged.plan, 0
    for time in range(len(judged.series)):
        for field in range(len(plan.fields)):
            status = judged.status[field, :, time]
            usable = np.flatnonzero(plan.allowed[field])
            best = usable[status[usable] == status[usable].max()]
            if status[best[0]] < Status.MARGINAL or best.size < 2:
                continue
            drift = judged.of_field(field).drift.upper[field, :, time]
            chosen = choose_setup(judged, field, time)
            assert chosen is not None
            assert drift[chosen] == drift[best].min()
            loss = plan.loss_pct[field]
            assert loss[chosen] <= plan.loss_tolerated_pct[field]
            seen += loss[chosen] > loss[best].min()
    assert seen > 10  # where the least drift is not also the least loss


def closeness(own: Judgement, at: tuple[int, int, int]) -> tuple[float, ...]:
    """How far a case is from open: the least comes closest."""
    shape = own.instant.shape
    bad = {c.limit for c in own.checks if np.broadcast_to(c.stand, shape)[at] <= UNKNOWN}
    rooms = [float(np.broadcast_to(c.headroom, shape)[at]) for c in own.checks]
    room = min(0.0 if np.isnan(r) else r for r in rooms)
    alone = len(bad & LIFTED_BY_SETUP_ALONE)
    loss = float(own.plan.loss_pct[at[:2]])
    return (-float(own.status[at]), alone, len(bad), -room, loss, at[1])


def test_where_no_setup_is_open_the_one_that_comes_closest_is_chosen(judged: Judgement) -> None:
    """First those the weather could open, then the fewest limits that do not hold, then the most
    room, then the least loss: worked out once more in a plain loop."""
    plan, seen = judged.plan, 0
    for time in range(len(judged.series)):
        for field in range(len(plan.fields)):
            own = judged.of_field(field)
            cases = [(field, s, time) for s in np.flatnonzero(plan.allowed[field]).tolist()]
            if max(own.status[case] for case in cases) >= Status.MARGINAL:
                continue
            closest = min(cases, key=lambda case: closeness(judged.of_field(case[0]), case))
            assert choose_setup(judged, field, time) == closest[1]
            seen += 1
    assert seen > 10
