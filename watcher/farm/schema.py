"""The JSON Schema of the farm file, for editors that complete and check while one types."""

import re
from typing import Any

from watcher.farm.models import FarmFile

_UNIT_NOTE = re.compile(r"\s*\[[^\]]*\]$")


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the farm file as the grower writes it."""
    schema: dict[str, Any] = _as_written(FarmFile.model_json_schema())
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "Farm file",
    }


def _as_written(node: Any) -> Any:
    """Say a part of the schema in the grower's terms.

    Without nulls, which TOML does not have; with defaults as text with a unit; without the SI
    units that the descriptions give for what is held inside; and with no name outside the pattern.
    """
    if isinstance(node, list):
        return [_as_written(item) for item in node if item != {"type": "null"}]
    if not isinstance(node, dict):
        return node
    said = {key: _as_written(value) for key, value in node.items()}
    match said:
        case {"anyOf": [only]}:
            said = only | {key: value for key, value in said.items() if key != "anyOf"}
    match said:
        case {"default": None} | {"default": dict()}:
            del said["default"]
        case {"default": float(inside), "$comment": str(unit)}:
            said["default"] = f"{inside:g} {unit}"
    if "patternProperties" in said:
        said["additionalProperties"] = False
    match said:
        case {"description": str(text)}:
            said["description"] = _UNIT_NOTE.sub("", text)
    return said
