"""When a rule is valid, and of which sprayers it is."""

from datetime import date
from typing import Any

import pytest

from watcher.farm.rules.base import is_for
from watcher.farm.rules.equipment import PointsRule, SpeedRule
from watcher.farm.sprayer_kind import SprayerKind

FIRST, LAST = date(2026, 4, 1), date(2026, 6, 30)


@pytest.mark.parametrize(
    ("expected", "days"),
    [
        ({}, [True] * 4),
        ({"valid_from": FIRST}, [False, True, True, True]),
        ({"valid_until": LAST}, [True, True, True, False]),
        ({"valid_from": FIRST, "valid_until": LAST}, [False, True, True, False]),
    ],
)
def test_both_ends_of_its_validity_are_within(expected: dict[str, Any], days: list[bool]) -> None:
    rule = SpeedRule.model_validate({"kind": "speed", "most": "9 mph"} | expected)
    around = [date(2026, 3, 31), FIRST, LAST, date(2026, 7, 1)]
    assert [rule.valid_on(day) for day in around] == days


@pytest.mark.parametrize(
    ("sprayers", "boom", "blast"),
    [([], True, True), (["boom"], True, False), (["boom", "air-blast"], True, True)],
)
def test_a_rule_is_of_the_sprayers_it_names_or_of_all(
    sprayers: list[str], boom: bool, blast: bool
) -> None:
    rule = SpeedRule.model_validate({"kind": "speed", "most": "9 mph", "sprayers": sprayers})
    assert is_for(rule, SprayerKind.BOOM) is boom
    assert is_for(rule, SprayerKind.AIR_BLAST) is blast
    assert is_for(PointsRule(kind="points", required=2), SprayerKind.AIR_BLAST)
