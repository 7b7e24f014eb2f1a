"""The farm and the weather of the worked cases, for every test of the judgement."""

from collections.abc import Callable, Mapping
from typing import Any

import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.plan import Plan
from watcher.weather.series import WeatherSeries


@pytest.fixture
def tables() -> dict[str, Any]:
    return farm_tables()


@pytest.fixture
def plan_of() -> Callable[[Mapping[str, Any]], Plan]:
    return lambda tables: Plan.of(build_farm(tables))


@pytest.fixture
def plan() -> Plan:
    return Plan.of(build_farm(farm_tables()))


@pytest.fixture
def weather() -> Callable[..., WeatherSeries]:
    return fair_weather
