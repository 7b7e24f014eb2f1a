"""What a change of the farm comes to: statuses and hours before and after."""

from typing import Any

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.skies import judged, timeline
from watcher.judge.farm_effect import FieldEffect, JudgedFarm, effect
from watcher.judge.ranking import rank
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status


def farm(given: dict[str, Any], done: tuple[str, ...] = (), **sky: Any) -> JudgedFarm:
    look = timeline(**sky)
    judgement, _ = judged(FarmArrays.of(build(given)), look)
    ranking = rank(judgement, look.now_index, done=done)
    return JudgedFarm(judgement, ranking, look.now, dict.fromkeys(judgement.plan.fields, 0))


def one(old: JudgedFarm, new: JudgedFarm, field: str = "hill") -> FieldEffect:
    return next(f for f in effect(old, new).fields if f.field == field)


def tighter(high: str) -> dict[str, Any]:
    config = tables()
    config["windows"]["contact"]["wind"] = {"low": "1 mph", "high": high}
    return config


def test_the_open_hours_of_two_days_are_counted() -> None:
    """Five hours of a wind that only the wider window bears, and two nobody knows."""
    hours = np.arange(72)
    wind = np.where(hours < 5, 8.0, 4.0)
    blind = np.where(np.isin(hours, (10, 11)), np.nan, wind)
    wide, narrow = tighter("12 mph"), tighter("7 mph")
    found = [farm(t, wind_mph=blind, gust_mph=blind + 1.0) for t in (wide, narrow)]
    seen = one(*found)
    assert seen.hours_before is not None
    assert seen.hours_after is not None
    assert seen.hours_before - seen.hours_after == pytest.approx(5.0)
    assert seen.before is not None
    assert seen.after is Status.UNSUITABLE


def test_all_hours_of_two_fair_days_are_open_and_no_more() -> None:
    config = tables()
    config["windows"]["contact"] = {
        "wind": {"high": "20 mph"},
        "inversion": {"tolerate": "possible"},
    }
    fair = farm(config, wind_mph=9.0, gust_mph=10.0)
    seen = one(fair, fair)
    assert seen.hours_before == seen.hours_after == 48.0


def test_where_nothing_is_foretold_no_hours_are_said() -> None:
    blind = farm(tables(), wind_mph=np.nan, gust_mph=np.nan, temp_c=np.nan)
    assert one(blind, blind).hours_before is None
    assert one(blind, blind).before is Status.UNKNOWN


def test_a_field_that_is_new_gone_or_done_has_no_status_there() -> None:
    both, without = tables(), tables()
    del without["fields"]["hill"]
    gone = one(farm(both), farm(without))
    assert (gone.after, gone.hours_after) == (None, None)
    assert gone.before is not None
    done = one(farm(both), farm(both, done=("hill",)))
    assert (done.after, done.hours_after) == (None, None)


def test_the_first_field_of_each_is_named_where_any_is_open() -> None:
    open_, shut = farm(tables()), farm(tables(), wind_mph=20.0, gust_mph=25.0)
    found = effect(open_, shut)
    assert found.first_before == open_.ranking.spray[0].field
    assert found.first_after is None


def test_marginal_hours_are_open_hours_too() -> None:
    config = tables()
    config["windows"]["contact"] = {
        "wind": {"high": "20 mph"},
        "inversion": {"tolerate": "possible"},
    }
    near = farm(config, wind_mph=19.0, gust_mph=20.0)
    seen = one(near, near)
    assert seen.before is Status.MARGINAL
    assert seen.hours_before == 48.0
