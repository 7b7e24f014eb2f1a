"""The order of the fields, criterion by criterion; what is known of each without its reasons."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

import numpy as np
import pytest

from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import mixed_farm
from tests.support.worked_farm import NOON_UTC
from watcher.judge.judgement import judge
from watcher.judge.ranking import Ranking, rank
from watcher.limits.catalogue import Limit
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


def test_when_an_open_field_closes_and_how_many_hours_it_can_use(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """Five hours of calm air, then wind over the label's bound; opens again at the tenth."""
    hours = np.arange(72)
    wind = np.where((hours >= 5) & (hours < 10), 12.0, 5.0)
    at = weather_times()
    field = ranked(tables, wind_mph=wind).every["C"]
    assert field.closes_at == at[5]
    assert field.opens_at is None
    shut = ranked(tables, wind_mph=np.where(hours < 5, 12.0, 5.0)).every["C"]
    assert shut.opens_at == at[5]
    assert shut.closes_at is None
    assert shut.status is Status.UNSUITABLE


def weather_times() -> list[int]:
    return [NOON_UTC + 3600 * hour for hour in range(72)]


def test_a_field_that_never_opens_names_the_limit_that_is_broken_longest(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    hours = np.arange(72)
    wind = np.where(hours < 20, 12.0, 5.0)
    rain = np.where(hours >= 10, 1.0, 0.0)
    field = ranked(tables, wind_mph=wind, rain_mm_h=rain).every["C"]
    assert field.shut_by is Limit.RAIN_AFTER
    assert ranked(tables).every["C"].shut_by is None


def test_who_does_not_need_the_calm_may_wait_for_a_breezier_hour(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """Calm up to the share of the bound; at the fourth hour in the upper part of the range."""
    wind = np.where(np.arange(72) == 4, 8.0, 5.0)
    found = ranked(tables, wind_mph=wind).every
    assert found["C"].can_wait_until == weather_times()[4]
    assert found["W"].can_wait_until is None  # it needs the calm itself
    clean = {"C": tables["fields"]["C"]}
    alone = ranked(tables | {"fields": clean, "neighbours": {}}, wind_mph=wind).every
    assert alone["C"].can_wait_until is None


def test_a_moderate_field_stands_between_a_weedy_and_a_clean_one(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    clean = tables["fields"]["C"]
    kinds = {"A": "clean", "B": "moderate", "D": "weedy"}
    tables["fields"] = {name: clean | {"weeds": weeds} for name, weeds in kinds.items()}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["D", "B", "A"]
