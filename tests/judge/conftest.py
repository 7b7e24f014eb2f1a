"""The farm and the weather of the worked cases, for every test of the judgement."""

from collections.abc import Callable, Mapping
from typing import Any

import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.series import WeatherSeries


@pytest.fixture
def tables() -> dict[str, Any]:
    return farm_tables()


@pytest.fixture
def plan_of() -> Callable[[Mapping[str, Any]], FarmArrays]:
    return lambda tables: FarmArrays.of(build_farm(tables))


@pytest.fixture
def plan() -> FarmArrays:
    return FarmArrays.of(build_farm(farm_tables()))


@pytest.fixture
def weather() -> Callable[..., WeatherSeries]:
    return fair_weather
