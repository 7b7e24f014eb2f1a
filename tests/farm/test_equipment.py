"""What rules ask of the equipment: at the bound it is kept, beyond it is not."""

from datetime import date
from typing import Any

import pytest

from tests.support.farms import tables
from watcher.farm.equipment import equipment_breaks
from watcher.farm.field_rules import rules_of
from watcher.farm.models import FarmFile


def lacks(rule: dict[str, Any], **setup: Any) -> list[str]:
    """What the coarse setup, changed so, lacks of one rule of its field's window."""
    entries = tables()
    entries["windows"]["contact"]["rules"] = [rule]
    entries["setups"]["coarse"] |= setup
    config = FarmFile.model_validate(entries)
    found = equipment_breaks(config, config.setups["coarse"], rules_of(config, "hill"))
    return [str(what) for _, what in found]


LISTED: dict[str, Any] = {"kind": "nozzles", "seen_on": date(2026, 5, 2)}


@pytest.mark.parametrize(
    ("rule", "setup", "expected"),
    [
        ({"kind": "droplets", "finest": "coarse"}, {}, []),
        ({"kind": "droplets", "finest": "very coarse"}, {}, ["droplets very coarse or coarser"]),
        ({"kind": "droplets", "coarsest": "coarse"}, {}, []),
        ({"kind": "droplets", "coarsest": "medium"}, {}, ["droplets medium or finer"]),
        ({"kind": "carrier", "least": "15 gal/acre"}, {}, []),
        ({"kind": "carrier", "least": "16 gal/acre"}, {}, ["at least 16 gal/acre"]),
        ({"kind": "carrier", "most": "15 gal/acre"}, {}, []),
        ({"kind": "carrier", "most": "14 gal/acre"}, {}, ["at most 14 gal/acre"]),
        ({"kind": "boom height", "most": "0.508 m"}, {}, []),
        ({"kind": "boom height", "most": "0.5 m"}, {}, ["boom no higher than 20 in"]),
        ({"kind": "speed", "most": "12 mph"}, {}, []),
        ({"kind": "speed", "most": "11 mph"}, {}, ["speed of at most 11 mph"]),
        ({"kind": "additive", "additive": "ams"}, {"additives": ["ams"]}, []),
        ({"kind": "additive", "additive": "ams"}, {}, ["ams in every load"]),
        ({"kind": "additive", "additive": "ams", "needed": "barred"}, {}, []),
        (
            {"kind": "additive", "additive": "ams", "needed": "barred"},
            {"additives": ["ams"]},
            ["no ams"],
        ),
    ],
)
def test_a_rule_on_equipment_at_its_bound_and_beyond(
    rule: dict[str, Any], setup: dict[str, Any], expected: list[str]
) -> None:
    assert lacks(rule, **setup) == expected


@pytest.mark.parametrize(
    ("listed", "setup", "kept"),
    [
        ({"name": "a"}, {"listed_nozzle": "a"}, True),
        ({"name": "a"}, {"listed_nozzle": "b"}, False),
        ({"name": "a"}, {}, False),
        ({"name": "a", "least": "2 bar", "most": "4 bar"}, {"listed_nozzle": "a"}, False),
        *(
            (listed, {"listed_nozzle": "a", "pressure": pressure}, kept)
            for listed, pressures in (
                (
                    {"name": "a", "least": "2 bar", "most": "4 bar"},
                    {"1.9 bar": False, "2 bar": True, "4 bar": True, "4.1 bar": False},
                ),
                ({"name": "a", "least": "2 bar"}, {"1.9 bar": False, "8 bar": True}),
                ({"name": "a", "most": "4 bar"}, {"1 bar": True, "4.1 bar": False}),
            )
            for pressure, kept in pressures.items()
        ),
    ],
)
def test_a_nozzle_is_listed_by_name_and_pressure(
    listed: dict[str, Any], setup: dict[str, Any], kept: bool
) -> None:
    rule = LISTED | {"nozzles": [listed]}
    expected = [] if kept else ["a nozzle of its list, at a pressure listed"]
    assert lacks(rule, **setup) == expected


def test_a_rule_of_other_sprayers_asks_nothing_of_this_one() -> None:
    rule = {"kind": "speed", "most": "2 mph", "sprayers": ["air-blast"]}
    assert lacks(rule) == []
    assert lacks(rule | {"sprayers": ["boom"]}) == ["speed of at most 2 mph"]
