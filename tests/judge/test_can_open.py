"""Every field can open, or what shuts it for ever is named."""

from datetime import date
from typing import Any

import pytest

from tests.support.worked_farm import build_farm, farm_tables
from watcher.farm import Farm
from watcher.judge.can_open import ShutField, shut_fields
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays

TODAY = date(2026, 6, 10)


def shut(tables: dict[str, Any]) -> dict[str, ShutField]:
    return {s.field: s for s in shut_fields(FarmArrays.of(build_farm(tables)), TODAY)}


def one_field(**field: Any) -> dict[str, Any]:
    config = farm_tables()
    config["fields"] = {"C": config["fields"]["C"] | field}
    config["neighbours"] = {}
    return config


def ruled(*rules: dict[str, Any]) -> dict[str, Any]:
    config = one_field(products=["a"])
    config["products"] = {"a": {"name": "A", "registration": "0-0", "rules": list(rules)}}
    return config


def test_every_field_of_the_example_farm_can_open(example_farm: Farm) -> None:
    assert shut_fields(FarmArrays.of(example_farm), TODAY) == ()


def test_a_weedy_field_with_coarse_drops_only_never_does() -> None:
    found = shut(one_field(weeds="weedy", setups=["coarse15", "coarse7"]))["C"]
    assert [r.limit for r in found.by] == [Limit.CONTROL]
    assert found.setup == "coarse15"  # the one that comes closest


def test_a_tall_law_and_a_low_floor_shut_each_other_out() -> None:
    config = ruled(
        {"kind": "wind", "high": "8 km/h", "height": "10 m", "gusts": "not counted"},
        {"kind": "wind", "low": "3 mph", "height": "boom"},
    )
    config["windows"]["contact"] = {"droplets_in_marginal_wind": {"low": "fine"}}
    found = shut(config)["C"]
    assert [r.limit for r in found.by] == [Limit.WIND]
    assert found.by[0].rule is not None


@pytest.mark.parametrize(
    "rule",
    [
        {"kind": "clock", "opens": "22:00", "closes": "23:00"},
        {"kind": "dates", "first": date(2026, 11, 3), "last": date(2026, 11, 5)},
        {"kind": "day high", "high": "12 degC"},
        {"kind": "rain ahead", "within": "72 h", "amount": "2 mm", "chance": "30 %"},
        {"kind": "inversion", "effect": "duty"},
        {"kind": "soil", "not_at": "saturated"},
    ],
    ids=lambda rule: str(rule["kind"]),
)
def test_a_rule_that_some_hour_keeps_shuts_nothing(rule: dict[str, Any]) -> None:
    assert shut(ruled(rule)) == {}


def test_a_neighbour_all_round_that_nothing_may_drift_onto() -> None:
    config = farm_tables()
    config["fields"] = {"K": config["fields"]["K"]}
    config["neighbours"] = {
        "vines_K": {"grows": "vines", "susceptibility": "tolerant", "no_spray_distance": "600 m"}
    }
    assert shut(config) == {}  # upwind of it there is always an hour


@pytest.mark.parametrize(
    "bounds",
    [{"high": "2 degC"}, {"low": "38 degC"}, {"low": "1 degC", "high": "3 degC"}],
    ids=["cold", "hot", "between"],
)
def test_air_that_the_field_alone_asks_for_is_tried(bounds: dict[str, str]) -> None:
    config = one_field()
    config["windows"]["contact"] = {
        "wind": config["windows"]["contact"]["wind"],
        "temperature": bounds,
    }
    assert shut(config) == {}


def test_the_days_after_planting_are_tried() -> None:
    config = ruled({"kind": "stage", "days_after_planting": 1})
    config["fields"]["C"]["planted"] = date(2026, 7, 9)
    assert shut(config) == {}


def test_what_shuts_a_field_is_told_of_the_sky_that_leaves_fewest() -> None:
    """Cold air that is as dry as in the heat there never is; in the usual air one of both holds."""
    config = one_field()
    config["windows"]["contact"] = {
        "temperature": {"high": "2 degC"},
        "delta_t": {"low": "9 delta_degC"},
    }
    assert len(shut(config)["C"].by) == 1
