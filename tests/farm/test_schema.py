"""The JSON Schema editors use says what the loader accepts."""

import tomllib
from copy import deepcopy
from datetime import date, time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from watcher.farm.schema import json_schema


def _as_json(value: Any) -> Any:
    """TOML's dates and times are text in JSON."""
    match value:
        case dict():
            return {key: _as_json(inner) for key, inner in value.items()}
        case list():
            return [_as_json(inner) for inner in value]
        case date() | time():
            return value.isoformat()
    return value


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return json_schema()


@pytest.fixture(scope="module")
def example(example_path: Path) -> dict[str, Any]:
    return _as_json(tomllib.loads(example_path.read_text(encoding="utf-8")))


def _complaints(schema: dict[str, Any], farm: dict[str, Any]) -> list[str]:
    validator = jsonschema.Draft202012Validator(
        schema, format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )
    return [error.json_path for error in validator.iter_errors(farm)]


def test_the_schema_is_itself_valid(schema: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(schema)


def test_the_example_farm_fits(schema: dict[str, Any], example: dict[str, Any]) -> None:
    assert _complaints(schema, example) == []


@pytest.mark.parametrize(
    ("table", "name", "key", "wrong"),
    [
        ("sprayers", "high_boom", "boom_width", 90),
        ("setups", "fan_15", "carrier", "15"),
        ("setups", "fan_15", "droplets", "finest"),
        ("fields", "pivot", "weeds", "few"),
        ("fields", "pivot", "wether", "clean"),
        ("fields", "no spaces, please", "crop", "corn"),
        ("sources", "yard", "kind", "pull"),
    ],
)
def test_a_slip_is_refused(
    schema: dict[str, Any], example: dict[str, Any], table: str, name: str, key: str, wrong: object
) -> None:
    farm = deepcopy(example)
    farm[table].setdefault(name, deepcopy(next(iter(farm[table].values()))))[key] = wrong
    assert _complaints(schema, farm)


def _places(node: Any) -> list[dict[str, Any]]:
    inner = node.values() if isinstance(node, dict) else node if isinstance(node, list) else []
    found = [place for part in inner for place in _places(part)]
    return [node, *found] if isinstance(node, dict) else found


def test_every_key_of_every_table_is_described(schema: dict[str, Any]) -> None:
    silent = [
        f"{name}.{key}"
        for name, table in schema["$defs"].items()
        for key, place in table.get("properties", {}).items()
        if not {"description", "$ref", "const", "enum"} & place.keys()
        and not any("$ref" in option for option in place.get("anyOf", []))
    ]
    assert silent == []


def test_nothing_offers_null_which_toml_has_not(schema: dict[str, Any]) -> None:
    assert {"type": "null"} not in _places(schema)


def test_defaults_of_quantities_are_written_with_their_unit(schema: dict[str, Any]) -> None:
    numbers = [p for p in _places(schema) if "pattern" in p and "examples" in p and "default" in p]
    assert numbers
    assert all(isinstance(p["default"], str) for p in numbers)
