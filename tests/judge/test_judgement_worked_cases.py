"""The judgement's worked cases: four fields, three setups, one sky after another."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from watcher.judge.judgement import judge
from watcher.judge.ranking import Ranking, rank
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.weather.series import WeatherSeries

Weather = Callable[..., WeatherSeries]
DAWN_UTC = 1_781_088_600  # 2026-06-10 10:50 UTC: about sunrise there


def ranked(plan: FarmArrays, series: WeatherSeries) -> Ranking:
    return rank(judge(plan, series), 0)


def names(ranking: Ranking) -> list[str]:
    return [f.field for f in ranking.spray]


def binding(ranking: Ranking) -> dict[str, Limit]:
    return {f.field: f.binding.limit for f in ranking.rest}


def rising_to_9() -> np.ndarray:
    """4 mph at mid-morning, 9 by the afternoon, calm again the next mornings."""
    day = np.interp(np.arange(24), [0, 4, 9, 12, 21, 23], [4.0, 9.0, 9.0, 2.0, 2.0, 4.0])
    return np.tile(day, 3)


class TestFourMilesAnHourAtMidMorning:
    def test_weedy_fields_come_before_clean_ones(self, plan: FarmArrays, weather: Weather) -> None:
        order = names(ranked(plan, weather(wind_mph=rising_to_9())))
        assert set(order) == {"W", "S", "C", "K"}
        assert {*order[:2]} == {"W", "S"}

    def test_the_one_beside_a_susceptible_crop_comes_first(
        self, plan: FarmArrays, weather: Weather
    ) -> None:
        assert names(ranked(plan, weather(wind_mph=rising_to_9())))[0] == "S"

    def test_weedy_fields_get_the_flat_fan(self, plan: FarmArrays, weather: Weather) -> None:
        every = ranked(plan, weather(wind_mph=rising_to_9())).every
        assert every["W"].setup == "fine15"
        assert every["S"].setup == "fine15"

    def test_the_clean_field_can_wait_for_a_breezier_hour(
        self, plan: FarmArrays, weather: Weather
    ) -> None:
        series = weather(wind_mph=rising_to_9())
        wait = ranked(plan, series).every["C"].can_wait_until
        assert wait is not None
        hour = int((wait - series.times[0]) // 3600)
        assert 6.0 < rising_to_9()[hour] <= 10.0

    def test_weedy_fields_cannot_wait(self, plan: FarmArrays, weather: Weather) -> None:
        every = ranked(plan, weather(wind_mph=rising_to_9())).every
        assert every["W"].can_wait_until is None

    def test_towards_the_susceptible_crop_the_field_is_marginal_at_best(
        self, plan: FarmArrays, weather: Weather
    ) -> None:
        every = ranked(plan, weather(wind_mph=5.0, wind_from_deg=180.0)).every
        assert every["S"].status <= Status.MARGINAL
        assert every["K"].status <= Status.MARGINAL
        assert every["W"].status is Status.SUITABLE


class TestNineMilesAnHour:
    def test_away_from_the_neighbour_only_clean_fields_appear(
        self, plan: FarmArrays, weather: Weather
    ) -> None:
        assert set(names(ranked(plan, weather(wind_mph=9.0)))) == {"C", "K"}

    def test_clean_fields_are_sprayed_coarse_with_enough_water(
        self, plan: FarmArrays, weather: Weather
    ) -> None:
        assert {f.setup for f in ranked(plan, weather(wind_mph=9.0)).spray} == {"coarse15"}

    def test_towards_the_neighbour_only_the_clean_field_without_one_appears(
        self, plan: FarmArrays, weather: Weather
    ) -> None:
        ranking = ranked(plan, weather(wind_mph=9.0, wind_from_deg=180.0))
        assert names(ranking) == ["C"]
        assert binding(ranking)["K"] is Limit.NEIGHBOUR

    def test_with_little_water_weedy_fields_are_closed_by_control(
        self, plan_of: Callable[[Any], FarmArrays], tables: dict[str, Any], weather: Weather
    ) -> None:
        tables["setups"] = {"coarse7": tables["setups"]["coarse7"]}
        ranking = ranked(plan_of(tables), weather(wind_mph=9.0))
        assert set(names(ranking)) == {"C", "K"}
        assert binding(ranking) == {"W": Limit.CONTROL, "S": Limit.CONTROL}


@pytest.mark.parametrize(
    ("sky", "limit"),
    [
        ({"wind_mph": 7.0, "gust_mph": 17.0}, Limit.GUST),
        ({"wind_mph": 5.0, "temp_c": 34.0, "humidity_pct": 20.0}, Limit.DELTA_T),
        ({"wind_mph": 1.0, "start": DAWN_UTC, "cloud_pct": 0.0}, Limit.INVERSION),
        ({"rain_mm_h": np.where(np.arange(72) >= 2, 3.0, 0.0)}, Limit.RAIN_AFTER),
    ],
    ids=["gusts of 17", "hot and dry", "still dawn under a clear sky", "rain in two hours"],
)
def test_nothing_is_sprayed_and_the_reason_is_named(
    plan: FarmArrays, weather: Weather, sky: dict[str, Any], limit: Limit
) -> None:
    ranking = ranked(plan, weather(**sky))
    assert names(ranking) == []
    assert {f.status for f in ranking.rest} == {Status.UNSUITABLE}
    broken = {f.field: [r.limit for r in f.reasons if r.stand == 0] for f in ranking.rest}
    assert all(limit in limits for limits in broken.values())
    assert binding(ranking)["C"] is limit


def test_a_still_dawn_names_the_still_air_too(plan: FarmArrays, weather: Weather) -> None:
    ranking = ranked(plan, weather(wind_mph=1.0, start=DAWN_UTC, cloud_pct=0.0))
    assert all(Limit.WIND in [r.limit for r in f.reasons if r.stand == 0] for f in ranking.rest)


def test_without_a_wind_reading_every_field_is_unknown(plan: FarmArrays, weather: Weather) -> None:
    wind = np.where(np.arange(72) == 0, np.nan, 5.0)
    ranking = ranked(plan, weather(wind_mph=wind))
    assert names(ranking) == []
    assert {f.status for f in ranking.rest} == {Status.UNKNOWN}


class TestFieldsThatAreDone:
    def test_they_are_neither_ranked_nor_waited_for(
        self, plan: FarmArrays, weather: Weather
    ) -> None:
        judgement = judge(plan, weather(wind_mph=rising_to_9()))
        ranking = rank(judgement, 0, done={"W", "S", "K"})
        assert names(ranking) == ["C"]
        assert {f.field for f in ranking.done} == {"W", "S", "K"}
        assert ranking.every["C"].can_wait_until is None


def test_a_long_job_on_a_clean_field_does_not_go_before_a_weedy_one(
    plan_of: Callable[[Any], FarmArrays], tables: dict[str, Any], weather: Weather
) -> None:
    tables["sprayers"]["slow"] = tables["sprayers"]["boom"] | {"speed": "2 mph"}
    tables["setups"]["slow_fine15"] = tables["setups"]["fine15"] | {"sprayer": "slow"}
    tables["fields"]["C"]["setups"] = ["slow_fine15"]
    order = names(ranked(plan_of(tables), weather(wind_mph=5.0)))
    assert order.index("W") < order.index("C")


def test_a_field_that_stays_shut_names_what_shuts_it(plan: FarmArrays, weather: Weather) -> None:
    inverted = np.where(np.arange(72) < 2, 1.0, 9.0)
    ranking = ranked(plan, weather(wind_mph=inverted, start=DAWN_UTC, cloud_pct=0.0, temp_c=14.0))
    assert ranking.every["W"].binding.limit is Limit.INVERSION
    assert ranking.every["W"].shut_by in {Limit.DROPLETS_IN_WIND, Limit.CONTROL}


def test_a_field_open_now_says_when_no_setup_is_open_any_more(
    plan: FarmArrays, weather: Weather
) -> None:
    wind = np.where(np.arange(72) < 3, 5.0, np.where(np.arange(72) < 6, 9.0, 12.0))
    series = weather(wind_mph=wind)
    every = ranked(plan, series).every
    assert every["W"].closes_at == series.times[3]
    assert every["C"].closes_at == series.times[6]
