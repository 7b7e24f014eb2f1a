"""A window written as rules judges as the window did."""

import tomllib
from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.farm.rules.convert import as_toml, window_as_rules
from watcher.judge.judgement import judge
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status

WINDOW: dict[str, Any] = {
    "wind": {"low": "3 mph", "high": "10 mph", "origin": "law", "low_origin": "label"},
    "gust": {"high": "12 mph"},
    "temperature": {"high": "25 degC", "origin": "label"},
    "humidity": {"low": "40 %"},
    "delta_t": {"low": "2 K", "high": "8 K"},
    "after_sunrise": {"low": "1 h", "origin": "label"},
    "before_sunset": {"low": "2 h", "origin": "label"},
    "droplets": {"low": "medium", "origin": "label"},
    "rain_free_after": {"low": "4 h"},
}


def test_each_bound_keeps_its_number_its_unit_and_whose_it_is() -> None:
    rules, stays = window_as_rules(WINDOW)
    assert {"kind": "wind", "height": "boom", "gusts": "not counted", "low": "3 mph"} | {
        "origin": "label"
    } in rules
    assert {"kind": "clock", "closes": "2 h before sunset", "origin": "label"} in rules
    assert stays == ["rain_free_after"]


def test_it_is_the_toml_of_a_farm_file() -> None:
    rules, _ = window_as_rules(WINDOW)
    assert tomllib.loads(as_toml(rules, "products.a"))["products"]["a"]["rules"] == rules


@pytest.mark.parametrize("wind_mph", [2.0, 5.0, 9.0, 11.0])
@pytest.mark.parametrize("temp_c", [20.0, 27.0])
def test_the_same_hours_are_shut_by_either(wind_mph: float, temp_c: float) -> None:
    rules, stays = window_as_rules(WINDOW)
    marginal = {"droplets_in_marginal_wind": {"low": "extremely fine"}}
    by_window, by_rules = farm_tables(), farm_tables()
    by_window["windows"]["contact"] = WINDOW | marginal
    by_rules["windows"]["contact"] = {key: WINDOW[key] for key in stays} | marginal
    by_rules["products"] = {"a": {"name": "A", "registration": "0-0", "rules": rules}}
    for field in by_rules["fields"].values():
        field["products"] = ["a"]
    for tables in (by_window, by_rules):
        tables["neighbours"] = {}
    series = fair_weather(wind_mph=wind_mph, temp_c=temp_c)
    shut = [
        judge(FarmArrays.of(build_farm(tables)), series).instant == Status.UNSUITABLE
        for tables in (by_window, by_rules)
    ]
    np.testing.assert_array_equal(*shut)
