"""Keys and values as the grower writes them, and the type the models have at a place."""

from datetime import date, time
from typing import Any, get_origin

import pytest

from watcher.farm.models import FarmFile, FieldPlan, Recipient, Sprayer
from watcher.farm.validation_messages import assigned, dotted, place_of, plain, written


@pytest.mark.parametrize(
    ("steps", "key"),
    [
        ((), ""),
        (("farm",), "farm"),
        (("fields", "north", "limits"), "fields.north.limits"),
        (("planning", "ways", 0), "planning.ways (item 1)"),
        (("products", "a", "rules", 2, "high"), "products.a.rules (item 3).high"),
        (("fields", "north forty", "crop"), 'fields."north forty".crop'),
    ],
)
def test_a_key_is_told_as_it_is_written(steps: tuple[int | str, ...], key: str) -> None:
    assert str(dotted(steps)) == key


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("15 gal/acre", '"15 gal/acre"'),
        ("x" * 80, '"' + "x" * 80 + '"'),
        ("x" * 100, '"' + "x" * 80 + '"'),
        (True, "true"),
        (7, "7"),
        (0.5, "0.5"),
        (date(2026, 6, 1), "2026-06-01"),
        (time(5, 30), "05:30:00"),
        ([1, 2], ""),
        ({}, ""),
        (None, ""),
    ],
)
def test_a_value_is_told_as_toml_has_it_and_no_longer_than_a_line(value: Any, text: str) -> None:
    assert written(value) == text
    key = str(assigned(("fields", "a"), value))
    assert key == (f"fields.a = {text}" if text else "fields.a")


def test_a_description_is_told_on_one_line_without_its_unit() -> None:
    assert plain("How far\n    it is. [m]") == "How far it is."
    assert plain("So [much] of it.") == "So [much] of it."


RAW: dict[str, Any] = {
    "fields": {"hill": {"stages": {"R1": date(2026, 6, 27)}}},
    "sources": {"yard": {"kind": "push", "place": [41.5, -96.5]}},
    "products": {
        "a": {"rules": [{"kind": "wind"}, {"kind": "dates", "last": date(2026, 8, 1)}]},
    },
}


@pytest.mark.parametrize(
    ("steps", "place"),
    [
        ((), FarmFile),
        (("fields", "hill"), FieldPlan),
        (("fields", "new"), FieldPlan),
        (("fields", "hill", "latest"), date),
        (("fields", "hill", "stages", "R1"), date),
        (("fields", "hill", "stages", "R2"), date),
        (("sprayers", "boom"), Sprayer),
        (("recipients", "grower"), Recipient),
        (("recipients", "grower", "quiet_hours", "start"), time),
        (("brief", "evening"), time),
        (("products", "a", "rules", 1, "last"), date),
        (("products", "a", "rules", 0, "last"), None),
        (("products", "a", "rules", 2, "last"), None),
        (("products", "a", "rules", -1, "last"), None),
        (("products", "a", "rules", "last"), None),
        (("products", "b", "rules", 0, "last"), None),
        (("products", "a", "valid_until"), date),
        (("sources", "yard", "kind"), None),
        (("sources", "yard", "heights", "wind"), float),
        (("sources", "nowhere", "heights", "wind"), None),
        (("fields", "hill", "nothing"), None),
        (("fields", "hill", "latest", "x"), None),
        (("farm", "name", 0), None),
    ],
)
def test_the_type_at_a_place_is_the_models(steps: tuple[int | str, ...], place: Any) -> None:
    found = place_of(steps, RAW)
    assert found is place or (place is None and found not in {date, time, float})


def test_of_several_kinds_the_one_that_is_written_is_meant() -> None:
    def of_time(kind: str) -> Any:
        return place_of(("sources", "x", "time"), {"sources": {"x": {"kind": kind}}})

    assert of_time("push") is str
    assert get_origin(of_time("csv")) is tuple  # its columns


PRODUCT = """
[products.a]
name = "A"
registration = "0-0"

[[products.a.{}]]
"""
WIND = PRODUCT.format("rules") + 'kind = "wind"\nhigh = "9 mph"\n'
BUFFER = PRODUCT.format("buffers") + 'protects = ["water"]\nbase = "5 m"\n'


@pytest.mark.parametrize(
    ("entry", "line", "wrong", "mend"),
    [
        (WIND, 'height = "60 m"', "outside what is believed", "check the number"),
        (WIND, 'height = "-1 m"', "outside what is believed", "check the number"),
        (WIND, 'height = "bom"', "not one of the choices", 'did you mean "boom"?'),
        (WIND, "height = 10", "no unit", "ft or m"),
        (WIND, 'averaging = "2 h"', "outside what is believed", "check the number"),
        (BUFFER, 'inside = "anythin"', "not one of the choices", 'did you mean "anything"?'),
        (BUFFER, 'inside = "5 roads"', "not one of the choices", "anything, unstated"),
        (BUFFER, "inside = 5", "is not a list", "write a list"),
    ],
)
def test_where_a_word_or_something_else_may_stand_what_was_meant_is_told(
    farm: Any, entry: str, line: str, wrong: str, mend: str
) -> None:
    problem = farm.add(entry + line).problem()
    assert problem.key.endswith(f"(item 1).{line}")
    assert wrong in problem.wrong
    assert mend in problem.mend


def test_each_slip_in_a_list_is_told_once(farm: Any) -> None:
    keys = [p.key for p in farm.add(BUFFER + 'inside = ["road", "", 5]').problems()]
    inside = "products.a.buffers (item 1).inside"
    assert keys == [f'{inside} (item 2) = ""', f"{inside} (item 3) = 5"]
