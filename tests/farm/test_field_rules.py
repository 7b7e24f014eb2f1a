"""Whose rules and buffers hold for a field, and what the farm file proves of a setup on it."""

from datetime import date
from typing import Any

import pytest

from tests.support.farms import tables
from watcher.farm.field_rules import buffers_of, buffers_towards, proven, rules_of
from watcher.farm.models import FarmFile
from watcher.farm.rules.calendar import DateRule

PRODUCT = {"name": "Invented", "registration": "0-0"}
BUFFER = {"protects": ["water"], "base": "10 m"}


def config(**changes: dict[str, Any]) -> FarmFile:
    given = tables()
    for table, entries in changes.items():
        for name, keys in entries.items():
            given.setdefault(table, {}).setdefault(name, {}).update(keys)
    return FarmFile.model_validate(given)


def test_rules_are_of_the_window_and_every_product_of_the_tank() -> None:
    speed = {"kind": "speed", "most": "9 mph"}
    found = config(
        windows={"contact": {"rules": [speed]}},
        products={"a": PRODUCT | {"rules": [speed, speed]}, "b": PRODUCT | {"rules": [speed]}},
        fields={"hill": {"products": ["a"]}},
    )
    assert [r.of for r in rules_of(found, "hill")] == ["window contact", *2 * ["product a"]]
    assert [r.of for r in rules_of(found, "creek_side")] == ["window contact"]


@pytest.mark.parametrize(
    "known", [{"valid_from": date(2026, 4, 1)}, {"valid_until": date(2027, 4, 1)}]
)
def test_a_labels_validity_is_a_rule(known: dict[str, date]) -> None:
    found = config(products={"a": PRODUCT | known}, fields={"hill": {"products": ["a"]}})
    [rule_of] = rules_of(found, "hill")
    assert isinstance(rule_of.rule, DateRule)
    assert (rule_of.rule.first, rule_of.rule.last) == (
        known.get("valid_from"),
        known.get("valid_until"),
    )


def test_buffers_are_of_window_and_products_and_protect_their_kinds_only() -> None:
    found = config(
        windows={"contact": {"buffers": [BUFFER]}},
        products={"a": PRODUCT | {"buffers": [BUFFER | {"protects": ["bees"]}]}},
        fields={"hill": {"products": ["a"]}},
        neighbours={"orchard": {"kinds": ["bees"], "no_spray_distance": "5 m"}},
    )
    assert [b.of for b in buffers_of(found, "hill")] == ["window contact", "product a"]
    towards = buffers_towards(found, "hill", "orchard")
    assert [b.of for b in towards] == ["product a", "neighbour orchard"]
    assert [b.buffer.base for b in towards] == [10.0, 5.0]


@pytest.mark.parametrize(
    ("doses", "share"),
    [
        ([], None),
        (["50 %"], 50.0),
        (["50 %", "80 %", "20 %"], 80.0),
        (["50 %", None], None),
    ],
)
def test_of_several_doses_the_one_nearest_to_its_largest_counts(
    doses: list[str | None], share: float | None
) -> None:
    products = {
        f"p{n}": PRODUCT | ({} if dose is None else {"dose_share": dose})
        for n, dose in enumerate(doses)
    }
    found = config(products=products, fields={"hill": {"products": list(products)}})
    setup, neighbour = found.setups["coarse"], found.neighbours["orchard"]
    assert proven(found, "hill", setup, neighbour).dose_share_pct == share


def test_a_retardant_has_no_dose_of_its_own_to_count() -> None:
    retardant = {"retardant": {"kind": "guar", "most": "8 fl oz/acre"}}
    products = {"p": PRODUCT | {"dose_share": "50 %"}, "slow": PRODUCT | retardant}
    found = config(products=products, fields={"hill": {"products": ["p", "slow"]}})
    shown = proven(found, "hill", found.setups["coarse"], found.neighbours["orchard"])
    assert shown.dose_share_pct == 50.0


def test_what_is_proven_is_of_setup_field_sprayer_and_neighbour() -> None:
    found = config(
        setups={"coarse": {"measures": ["hood"], "pressure": "3 bar", "drift_class": "75 %"}},
        fields={"hill": {"land": ["hedge"]}},
        neighbours={"orchard": {"land": ["road"], "water_width": "4 m"}},
    )
    shown = proven(found, "hill", found.setups["coarse"], found.neighbours["orchard"])
    assert (shown.measures, shown.beside) == ({"hood", "hedge"}, {"road"})
    assert (shown.water_width_m, shown.boom_height_m) == (4.0, 0.508)
    assert (shown.pressure_pa, shown.drift_class_pct) == (3e5, 75.0)
