"""A label's or law's bound is loosened by nobody unseen."""

from pathlib import Path
from typing import Any

import pytest

from watcher.farm.editing.edits import Edit, Remove, SetValue, edited
from watcher.farm.editing.loosening import loosened
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.validation_messages import dotted

_RULES = ("products", "contact_a", "rules")
WITH_RULES: list[Edit] = [
    SetValue(
        _RULES,
        [
            {"kind": "wind", "high": "10 mph"},
            {"kind": "rain now", "most": "8 mm/h", "origin": "own"},
        ],
    ),
    SetValue(("products", "contact_a", "valid_until"), "2028-02-06"),
    SetValue(("farm", "presets"), ["FR wind and rain"]),
    SetValue(("fields", "west_bottom", "limits"), {"wind": {"high": "9 mph", "origin": "law"}}),
]


@pytest.fixture(scope="module")
def texts(example_path: Path) -> FarmTexts:
    return edited(FarmTexts.of_files(example_path), WITH_RULES)


def window(*at: str) -> tuple[str, ...]:
    return ("windows", "contact", *at)


SYSTEMIC, NO_SPRAY = ("windows", "systemic"), ("neighbours", "vineyard", "no_spray_distance")
LOOSER: list[tuple[tuple[int | str, ...], Any, str]] = [
    (window("wind", "high"), "11 mph", "windows.contact.wind.high"),
    (window("wind", "low"), "2 mph", "windows.contact.wind.low"),
    (window("rain_free_after"), None, "windows.contact.rain_free_after.low"),
    (window("droplets"), None, "windows.contact.droplets.low"),
    (window("wind", "origin"), "own", "windows.contact.wind.low, windows.contact.wind.high"),
    ((*SYSTEMIC, "inversion", "tolerate"), "possible", "windows.systemic.inversion.tolerate"),
    ((*SYSTEMIC, "neighbours", "susceptible"), "calm wind only",
     "windows.systemic.neighbours.susceptible"),
    ((*SYSTEMIC, "temperature", "high"), "86 degF", "windows.systemic.temperature.high"),
    ((*_RULES, 0, "high"), "12 mph", "products.contact_a.rules (item 1)"),
    (_RULES, [], "products.contact_a.rules (item 1)"),
    (("products", "contact_a", "valid_until"), "2029-01-01", "products.contact_a.valid_until"),
    (NO_SPRAY, "200 ft", "neighbours.vineyard.no_spray_distance"),
    (("farm", "presets"), [], "farm.presets"),
    (("fields", "west_bottom", "limits"), None, "fields.west_bottom.limits.wind.high"),
]  # fmt: skip
TIGHTER_OR_OWN: list[tuple[tuple[int | str, ...], Any]] = [
    (window("wind", "high"), "9 mph"),
    (window("wind", "low"), "4 mph"),
    (window("gust", "high"), "20 mph"),
    (window("wind", "margin"), 0.3),
    ((*SYSTEMIC, "temperature", "low"), "40 degF"),
    ((*_RULES, 1), {"kind": "rain now", "most": "9 mm/h", "origin": "own"}),
    (("products", "contact_a", "valid_until"), "2027-01-01"),
    (NO_SPRAY, "300 ft"),
    (("fields", "hill_forty", "window"), "residual"),
]


def change(texts: FarmTexts, at: tuple[int | str, ...], value: Any) -> list[str]:
    after = edited(texts, [Remove(at) if value is None else SetValue(at, value)])
    found = loosened(texts.load().config, after.load().config)
    return [str(dotted(one.at)) for one in found]


@pytest.mark.parametrize(("at", "value", "named"), LOOSER)
def test_what_asks_for_less_is_named(
    texts: FarmTexts, at: tuple[int | str, ...], value: Any, named: str
) -> None:
    assert ", ".join(change(texts, at, value)) == named


@pytest.mark.parametrize(("at", "value"), TIGHTER_OR_OWN)
def test_what_asks_for_more_or_is_the_growers_own_is_not(
    texts: FarmTexts, at: tuple[int | str, ...], value: Any
) -> None:
    assert change(texts, at, value) == []
