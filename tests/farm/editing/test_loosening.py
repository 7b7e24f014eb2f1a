"""A label's or law's bound is loosened by nobody unseen."""

from pathlib import Path
from typing import Any

import pytest

from watcher.farm.editing.edits import Edit, Remove, SetValue, edited
from watcher.farm.editing.loosening import loosened
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.models import FarmFile
from watcher.farm.validation_messages import dotted

_RULES = ("products", "contact_a", "rules")
_SLOW, _LABEL = {"kind": "guar", "most": "8 fl oz/acre"}, {"origin": "label"}
WITH_RULES: list[Edit] = [
    SetValue(
        _RULES,
        [
            {"kind": "wind", "high": "10 mph"},
            {"kind": "rain now", "most": "8 mm/h", "origin": "own"},
        ],
    ),
    SetValue(("products", "contact_a", "valid_until"), "2028-02-06"),
    SetValue(("products", "contact_a", "valid_from"), "2026-02-06"),
    SetValue(("products", "slow"), {"name": "Slow", "registration": "0", "retardant": _SLOW}),
    SetValue(("windows", "residual", "neighbours"), {"susceptible": "calm wind only", **_LABEL}),
    SetValue(("windows", "residual", "inversion"), {"tolerate": "possible", **_LABEL}),
    SetValue(("farm", "presets"), ["FR wind and rain"]),
    SetValue(("fields", "west_bottom", "limits"), {"wind": {"high": "9 mph", "origin": "law"}}),
]


@pytest.fixture(scope="module")
def texts(example_path: Path) -> FarmTexts:
    return edited(FarmTexts.of_files(example_path), WITH_RULES)


def window(*at: str) -> tuple[str, ...]:
    return ("windows", "contact", *at)


SYSTEMIC, NO_SPRAY = ("windows", "systemic"), ("neighbours", "vineyard", "no_spray_distance")
_NEIGHBOURS = ("windows", "residual", "neighbours")
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
    (("products", "contact_a", "valid_until"), None, "products.contact_a.valid_until"),
    (("products", "contact_a", "valid_from"), "2026-02-05", "products.contact_a.valid_from"),
    (("products", "contact_a", "valid_from"), None, "products.contact_a.valid_from"),
    (("products", "slow", "retardant"), None, "products.slow.retardant"),
    (("products", "slow", "retardant", "most"), "9 fl oz/acre", "products.slow.retardant"),
    (("windows", "residual", "droplets", "low"), "medium", "windows.residual.droplets.low"),
    (("windows", "residual", "droplets", "origin"), "own", "windows.residual.droplets.low"),
    (("windows", "residual", "inversion", "origin"), "own", "windows.residual.inversion.tolerate"),
    ((*_NEIGHBOURS, "susceptible"), "any wind in the window",
     "windows.residual.neighbours.susceptible"),
    ((*_NEIGHBOURS, "very_susceptible"), "calm wind only",
     "windows.residual.neighbours.very_susceptible"),
    ((*_NEIGHBOURS, "origin"), "own", "windows.residual.neighbours.susceptible, "
     "windows.residual.neighbours.very_susceptible"),
    (window("wind", "low"), None, "windows.contact.wind.low"),
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
    (("products", "contact_a", "valid_from"), "2026-02-07"),
    (("products", "contact_a", "retardant"), _SLOW),
    (("windows", "residual", "droplets", "low"), "very coarse"),
    (("windows", "residual", "inversion", "tolerate"), "none"),
    ((*_NEIGHBOURS, "susceptible"), "never"),
    (NO_SPRAY, "300 ft"),
    (("fields", "hill_forty", "window"), "residual"),
]


def config(texts: FarmTexts) -> FarmFile:
    """What the farm file says, whether a check would take it or not."""
    return FarmFile.model_validate(texts.raw)


def change(texts: FarmTexts, at: tuple[int | str, ...], value: Any) -> list[str]:
    after = edited(texts, [Remove(at) if value is None else SetValue(at, value)])
    found = loosened(config(texts), config(after))
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
