"""A farm judged by several looks at the weather: each field as if by its own alone."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
import pytest

from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import mixed_farm
from watcher.judge.farm_judgement import judge_each
from watcher.judge.judgement import Judgement, judge
from watcher.judge.ranking import rank
from watcher.judge.reasons import reasons
from watcher.limits.check import Checked
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.series import WeatherSeries

HOURS = 48


@dataclass(frozen=True)
class Look:
    fields: tuple[str, ...]
    series: WeatherSeries
    wind_uncertainty_m_s: float
    expects: Mapping[str, np.ndarray] = dataclasses.field(default_factory=dict)


@pytest.fixture(scope="module")
def plan() -> FarmArrays:
    return FarmArrays.of(mixed_farm())


@pytest.fixture(scope="module")
def looks(plan: FarmArrays) -> tuple[Look, ...]:
    """Three stations: every third field hears another one, the last in much more wind."""
    series = changeable_weather(HOURS)
    windier = series.having(
        wind_m_s=series.wind_m_s * 1.7,
        gust_m_s=series.gust_m_s * 1.7,
        temp_c=series.temp_c + 3.0,
        wind_from_deg=(series.wind_from_deg + 120.0) % 360.0,
    )
    silent = series.having(wind_m_s=np.full(len(series), np.nan))
    return (
        Look(plan.fields[0::3], series, 0.2),
        Look(plan.fields[1::3], windier, 0.5),
        Look(plan.fields[2::3], silent, 0.0),
    )


@pytest.fixture(scope="module")
def together(plan: FarmArrays, looks: tuple[Look, ...]) -> Judgement:
    return judge_each(plan, looks)


def alone(plan: FarmArrays, looks: tuple[Look, ...], field: int) -> Judgement:
    look = next(look for look in looks if plan.fields[field] in look.fields)
    return judge(plan, look.series, wind_uncertainty_m_s=look.wind_uncertainty_m_s)


def test_every_status_is_that_of_the_fields_own_weather(
    plan: FarmArrays, looks: tuple[Look, ...], together: Judgement
) -> None:
    for field in range(len(plan.fields)):
        own = alone(plan, looks, field)
        for what in ("instant", "status", "breaks_at", "share_done", "best"):
            np.testing.assert_array_equal(getattr(together, what)[field], getattr(own, what)[field])
        for what in ("wind_m_s", "gust_m_s", "band"):
            ours, wanted = getattr(together.boom, what), getattr(own.boom, what)
            np.testing.assert_array_equal(ours[field], wanted[field])


def test_every_limit_behind_it_is_too(
    plan: FarmArrays, looks: tuple[Look, ...], together: Judgement
) -> None:
    shape = together.instant.shape
    for field in range(len(plan.fields)):
        own = alone(plan, looks, field)
        for ours, wanted in zip(together.checks, own.checks, strict=True):
            assert ours.limit is wanted.limit
            for part in fields(Checked)[1:]:
                np.testing.assert_array_equal(
                    np.broadcast_to(getattr(ours, part.name), shape)[field],
                    np.broadcast_to(getattr(wanted, part.name), shape)[field],
                )


def test_reasons_are_asked_of_the_fields_own_weather(
    plan: FarmArrays, looks: tuple[Look, ...], together: Judgement
) -> None:
    for field in range(len(plan.fields)):
        own = alone(plan, looks, field)
        assert together.of_field(field).series is next(
            look.series for look in looks if plan.fields[field] in look.fields
        )
        assert repr(reasons(together, field, 0, 5)) == repr(reasons(own, field, 0, 5))


def test_a_field_whose_station_is_silent_is_not_ranked_by_anothers_wind(
    plan: FarmArrays, looks: tuple[Look, ...], together: Judgement
) -> None:
    ranking = rank(together, 0)
    assert not {f.field for f in ranking.spray} & set(looks[2].fields)


def test_one_look_is_one_judgement(plan: FarmArrays, looks: tuple[Look, ...]) -> None:
    whole = judge_each(plan, [Look(plan.fields, looks[0].series, 0.2)])
    assert not whole.apart
    np.testing.assert_array_equal(
        whole.instant, judge(plan, looks[0].series, wind_uncertainty_m_s=0.2).instant
    )
