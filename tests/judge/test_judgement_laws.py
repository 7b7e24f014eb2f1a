"""Laws every judgement keeps, whatever the weather: searched by hypothesis."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from watcher.judge.judgement import Judgement, judge
from watcher.judge.ranking import rank
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Band, Status
from watcher.weather.series import WeatherSeries

Weather = Callable[..., WeatherSeries]
PlanOf = Callable[[Any], FarmArrays]

law = settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)

HOURS = 6


def column(low: float, high: float) -> st.SearchStrategy[list[float]]:
    return st.lists(st.floats(low, high), min_size=HOURS, max_size=HOURS)


skies = st.fixed_dictionaries(
    {
        "wind_mph": column(0, 16),
        "wind_from_deg": column(0, 360),
        "wind_spread_deg": column(0, 50),
        "temp_c": column(-5, 40),
        "humidity_pct": column(5, 100),
        "cloud_pct": column(0, 100),
        "rain_mm_h": st.lists(
            st.sampled_from([0.0, 0.0, 0.0, 2.0]), min_size=HOURS, max_size=HOURS
        ),
    }
)
# Usable or not: unknown and unsuitable are equally far from being sprayed.
USABLE = np.array([0, 0, 1, 2])


def usable(judgement: Judgement) -> np.ndarray:
    return USABLE[judgement.best]


@law
@given(sky=skies, high=st.floats(4, 10), delta_t=st.floats(3, 8))
def test_tightening_a_limit_never_opens_a_field(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather, sky: Any, high: float, delta_t: float
) -> None:
    series = weather(hours=HOURS, **sky)
    loose = judge(plan_of(tables), series)
    window = dict(tables["windows"]["contact"])
    window["wind"] = {"low": "3 mph", "high": f"{high} mph", "origin": "label"}
    window["gust"] = {"high": "15 mph"}
    window["delta_t"] = {"low": "2 delta_degC", "high": f"{delta_t} delta_degC"}
    tight = judge(plan_of(tables | {"windows": {"contact": window}}), series)
    # A higher margin of a narrower band may only ever take away room as well.
    assert np.all((usable(tight) > 0) <= (usable(loose) > 0))


@law
@given(
    sky=skies,
    name=st.sampled_from(
        [
            "wind_m_s",
            "gust_m_s",
            "wind_from_deg",
            "temp_c",
            "humidity_pct",
            "rain_mm_h",
            "cloud_pct",
        ]
    ),
    gone=st.lists(st.booleans(), min_size=HOURS, max_size=HOURS),
)
def test_a_missing_value_never_improves_a_status(
    plan: FarmArrays, weather: Weather, sky: Any, name: str, gone: list[bool]
) -> None:
    whole = weather(hours=HOURS, **sky)
    holed = whole.having(**{name: np.where(gone, np.nan, getattr(whole, name))})
    assert np.all(usable(judge(plan, holed)) <= usable(judge(plan, whole)))


@law
@given(sky=skies, more=st.floats(0, 8))
def test_more_wind_above_calm_never_improves_a_status(
    plan: FarmArrays, weather: Weather, sky: Any, more: float
) -> None:
    before = weather(hours=HOURS, **sky)
    windier = before.having(
        wind_m_s=before.wind_m_s + more * 0.44704, gust_m_s=before.gust_m_s + more * 0.44704
    )
    was, now = judge(plan, before), judge(plan, windier)
    over_calm = (was.boom.band >= Band.MARGINAL).all(axis=1)
    # The moment's status: a whole job's may gain from an hour that was too still before.
    assert np.all(now.instant.max(axis=1)[over_calm] <= was.instant.max(axis=1)[over_calm])


@law
@given(sky=skies)
def test_removing_a_neighbour_never_worsens_a_status(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather, sky: Any
) -> None:
    series = weather(hours=HOURS, **sky)
    alone = judge(plan_of(tables | {"neighbours": {}}), series)
    assert np.all(judge(plan_of(tables), series).best <= alone.best)


@law
@given(sky=skies)
def test_adding_a_setup_never_worsens_a_status(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather, sky: Any
) -> None:
    series = weather(hours=HOURS, **sky)
    fewer = {k: v for k, v in tables["setups"].items() if k != "coarse15"}
    few = judge(plan_of(tables | {"setups": fewer}), series)
    assert np.all(few.best <= judge(plan_of(tables), series).best)


@law
@given(sky=skies, order=st.permutations(["W", "S", "C", "K"]))
def test_reordering_fields_changes_no_status_and_no_order(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather, sky: Any, order: list[str]
) -> None:
    series = weather(hours=HOURS, **sky)
    fields = {name: tables["fields"][name] for name in order}
    one = rank(judge(plan_of(tables), series), 0)
    other = rank(judge(plan_of(tables | {"fields": fields}), series), 0)
    assert [f.field for f in one.spray] == [f.field for f in other.spray]
    assert {n: f.status for n, f in one.every.items()} == {
        n: f.status for n, f in other.every.items()
    }


@law
@given(sky=skies)
def test_hour_by_hour_and_as_one_block_give_the_same_moments(
    plan: FarmArrays, weather: Weather, sky: Any
) -> None:
    series = weather(hours=HOURS, **sky)
    block = judge(plan, series)
    for hour in range(HOURS):
        rest = judge(plan, series.at(slice(hour, None)))
        assert np.array_equal(rest.instant[:, :, 0], block.instant[:, :, hour])
        assert np.array_equal(rest.status[:, :, 0], block.status[:, :, hour])


def test_the_status_of_one_field_does_not_depend_on_the_others(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather
) -> None:
    series = weather()
    together = rank(judge(plan_of(tables), series), 0).every
    alone = rank(
        judge(plan_of(tables | {"fields": {"C": tables["fields"]["C"]}, "neighbours": {}}), series),
        0,
    )
    assert alone.every["C"].status is together["C"].status


def test_an_empty_series_is_an_error(plan: FarmArrays, weather: Weather) -> None:
    with pytest.raises(ValueError, match="nothing to judge"):
        judge(plan, weather(hours=0))


def test_a_job_that_breaks_midway_is_marginal_with_its_share(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather
) -> None:
    tables["sprayers"]["boom"]["speed"] = "4 mph"
    plan = plan_of(tables)
    wind = np.where(np.arange(72) >= 1, 12.0, 5.0)
    judgement = judge(plan, weather(wind_mph=wind))
    setup = plan.setups.index("fine15")
    hours = plan.duration_s[0, setup] / 3600
    assert hours > 1
    assert judgement.status[0, setup, 0] == Status.MARGINAL
    assert judgement.share_done[0, setup, 0] == pytest.approx(1 / hours)
