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


@pytest.mark.parametrize(
    ("window", "rules"),
    [
        (
            {"temperature": {"low": "5 degC", "high": "25 degC", "origin": "label"}},
            [{"kind": "temperature", "low": "5 degC", "high": "25 degC", "origin": "label"}],
        ),
        (
            {"humidity": {"low": "40 %", "high": "90 %"}},
            [{"kind": "humidity", "low": "40 %", "high": "90 %", "origin": "own"}],
        ),
        (
            {"delta_t": {"low": "2 K", "high": "8 K", "low_origin": "label"}},
            [
                {"kind": "Delta T", "low": "2 K", "origin": "label"},
                {"kind": "Delta T", "high": "8 K", "origin": "own"},
            ],
        ),
        (
            {"delta_t": {"low": "2 K", "high": "8 K", "origin": "law", "low_origin": "law"}},
            [{"kind": "Delta T", "low": "2 K", "high": "8 K", "origin": "law"}],
        ),
        (
            {"humidity": {"low": "40 %", "origin": "law", "low_origin": "label"}},
            [{"kind": "humidity", "low": "40 %", "origin": "label"}],
        ),
        (
            {"gust": {"high": "12 mph", "origin": "label"}},
            [
                {
                    "kind": "wind",
                    "height": "boom",
                    "averaging": "3 s",
                    "gusts": "not counted",
                    "high": "12 mph",
                    "origin": "label",
                }
            ],
        ),
        (
            {"after_sunrise": {"low": "1 h"}},
            [{"kind": "clock", "opens": "1 h after sunrise", "origin": "own"}],
        ),
        (
            {"droplets": {"low": "medium"}},
            [{"kind": "droplets", "finest": "medium", "origin": "own"}],
        ),
        (
            {"inversion": {"tolerate": "none", "origin": "label"}},
            [{"kind": "inversion", "effect": "ban", "origin": "label"}],
        ),
    ],
)
def test_a_limit_is_the_rules_it_comes_to(
    window: dict[str, Any], rules: list[dict[str, str]]
) -> None:
    assert window_as_rules(window) == (rules, [])


def test_what_is_no_rule_stays_in_the_window() -> None:
    window = {
        "inversion": {"tolerate": "possible"},
        "rain_free_after": {"low": "4 h"},
        "neighbours": {"susceptible": "never"},
        "rules": [],
    }
    assert window_as_rules(window) == ([], list(window))


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
