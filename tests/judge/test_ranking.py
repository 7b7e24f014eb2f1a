"""The order of the fields, criterion by criterion; what is known of each without its reasons."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

import numpy as np
import pytest

from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import mixed_farm
from watcher.judge.judgement import judge
from watcher.judge.ranking import Ranking, rank
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.weather.series import WeatherSeries

Tables = dict[str, Any]
PlanOf = Callable[[Mapping[str, Any]], FarmArrays]
Weather = Callable[..., WeatherSeries]


@pytest.fixture
def ranked(plan_of: PlanOf, weather: Weather) -> Callable[..., Ranking]:
    def of(tables: Tables, **quantities: Any) -> Ranking:
        return rank(judge(plan_of(tables), weather(**quantities)), 0)

    return of


def _order(ranking: Ranking) -> list[str]:
    return [field.field for field in ranking.spray]


def test_the_room_of_a_field_is_that_of_the_nearest_of_its_reasons() -> None:
    judgement = judge(FarmArrays.of(mixed_farm()), changeable_weather(72))
    seen = 0
    for time in range(0, 72, 7):
        for field in rank(judgement, time).every.values():
            rooms = [r.headroom for r in field.reasons if not np.isnan(r.headroom)]
            assert field.headroom == min(rooms)
            seen += field.status >= Status.MARGINAL
    assert seen > 5  # some of them open


def test_scarcity_is_how_much_of_the_hours_left_the_job_takes() -> None:
    judgement = judge(FarmArrays.of(mixed_farm()), changeable_weather(48))
    seen = [f for time in (0, 7) for f in rank(judgement, time).spray if f.usable_hours]
    assert seen
    for field in seen:
        assert field.scarcity * field.usable_hours * 3600 == pytest.approx(field.duration_s)


def test_the_first_of_the_reasons_binds() -> None:
    judgement = judge(FarmArrays.of(mixed_farm()), changeable_weather(24))
    for field in rank(judgement, 3).every.values():
        assert repr(field.binding) == repr(field.reasons[0])  # NaN is not NaN
        worst = min(r.stand for r in field.reasons)
        assert field.binding.stand is LimitState(worst)


def test_of_two_alike_the_one_whose_last_day_comes_first_goes_first(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    clean = tables["fields"]["C"]
    tables["fields"] = {"C": clean, "D": clean | {"latest": date(2030, 1, 1)}}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["D", "C"]


def test_of_two_alike_the_name_decides(tables: Tables, ranked: Callable[..., Ranking]) -> None:
    clean = tables["fields"]["C"]
    tables["fields"] = {"D": clean, "C": clean}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["C", "D"]


def test_a_weedy_field_goes_before_a_clean_one(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    clean = tables["fields"]["C"]
    tables["fields"] = {"C": clean | {"weeds": "clean"}, "D": clean | {"weeds": "weedy"}}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["D", "C"]
