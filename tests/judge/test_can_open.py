"""Every field can open, or what shuts it for ever is named."""

from datetime import date
from typing import Any

import pytest
from shapely.affinity import translate

from tests.support.worked_farm import LATITUDE, build_farm, farm_tables
from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
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


def each_asking(windows: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """A farm with a clean field for every one of these windows."""
    config = one_field()
    field = config["fields"].pop("C")
    config["fields"] = {name: field | {"window": name} for name in windows}
    return config | {"windows": windows}


def test_air_that_a_field_alone_asks_for_is_tried() -> None:
    bounds = {
        "cold": {"temperature": {"high": "2 degC"}},
        "hot": {"temperature": {"low": "38 degC"}},
        "between": {"temperature": {"low": "34.4 degC", "high": "35.6 degC"}},
        "damp": {"humidity": {"low": "95 %"}},
        "dry": {"humidity": {"high": "20 %"}},
        "between damp and dry": {"humidity": {"low": "84 %", "high": "86 %"}},
    }
    windows = {f"w{number}": asked for number, asked in enumerate(bounds.values())}
    assert shut(each_asking(windows)) == {}


def test_every_wind_that_is_sprayed_in_is_tried() -> None:
    """Whoever leaves themselves one mile an hour, up to ten, is open in some wind."""
    bounds = {f"w{mph}": {"low": f"{mph} mph", "high": f"{mph + 1} mph"} for mph in range(10)}
    assert shut(each_asking({name: {"wind": wind} for name, wind in bounds.items()})) == {}


def test_cold_and_hot_air_is_tried_damp_and_dry() -> None:
    """Delta T worked out by the psychrometric equation: 0.000662 a kelvin, 1013.25 hPa."""
    airs = {
        "mild": (20.0, 6.9),  # at 45 % relative humidity
        "cool": (14.0, 2.4),  # at 75 %
        "warm": (26.0, 10.8),  # at 30 %
        "cold": (9.0, 4.7),  # at 45 %
        "hot": (31.0, 12.2),  # at 30 %
        "frosty": (4.0, 1.7),  # at 75 %
    }
    windows = {
        name: {
            "temperature": {"low": f"{temp - 1.5} degC", "high": f"{temp + 1.5} degC"},
            "delta_t": {"low": f"{delta - 0.5} delta_degC", "high": f"{delta + 0.5} delta_degC"},
        }
        for name, (temp, delta) in airs.items()
    }
    assert shut(each_asking(windows)) == {}


def test_a_wind_without_any_gusts_is_not_counted_on() -> None:
    """Gusts are a quarter over the mean at ten metres: so much at the boom, or more."""
    wind = {"low": "6 mph", "high": "8 mph"}
    windows = {
        "fits": {"wind": wind, "gust": {"high": "10 mph"}},
        "never": {"wind": wind, "gust": {"high": "6.5 mph"}},
    }
    assert list(shut(each_asking(windows))) == ["never"]


def test_the_longest_dry_time_a_window_may_ask_for_can_be_had() -> None:
    fortnight = {"low": "336 h"}
    windows = {"dry": {"rain_free_before": fortnight, "rain_free_after": fortnight}}
    assert shut(each_asking(windows)) == {}


def further_north(farm: Farm, degrees: float) -> Farm:
    fields = {
        name: translate(shape, yoff=degrees) for name, shape in farm.ground.fields_deg.items()
    }
    return Farm(farm.config, Ground(fields, {}))


@pytest.mark.parametrize(
    ("latitude", "apart"),
    # At 41 degrees the longest day has 15 hours; at 70 the sun of June and December does not set
    # or rise, and in September it does.
    [(41.0, "7 h"), (-41.0, "7 h"), (70.0, "2 h")],
)
def test_the_longest_day_of_either_half_of_the_earth_is_tried(latitude: float, apart: str) -> None:
    windows = {"day": {"after_sunrise": {"low": apart}, "before_sunset": {"low": apart}}}
    farm = further_north(build_farm(each_asking(windows)), latitude - LATITUDE)
    assert shut_fields(FarmArrays.of(farm), TODAY) == ()


def test_a_field_that_is_shut_is_found_among_many() -> None:
    """More fields than are laid out at a time, and three weedy ones with coarse drops only."""
    config = each_asking({f"f{i}": {} for i in range(43)})
    for name in ("f0", "f20", "f42"):
        config["fields"][name] |= {"weeds": "weedy", "setups": ["coarse15"]}
    assert list(shut(config)) == ["f0", "f20", "f42"]


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
