"""The OpenAPI document: every route has an example that is as the document says."""

from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.support.visiting import visited
from watcher.web.api.description import operations

_WITHOUT = {
    "GET /api/v1/events": "a stream",
    "GET /api/v1/farm/export.zip": "no text",
    "POST /api/v1/farm/import": "no text",
    "GET /api/v1/records/{number}/page.pdf": "no text",
    "GET /api/v1/incidents/{number}/page.pdf": "no text",
    "GET /metrics": "figures",
}
_PROBLEM = "application/problem+json"


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    import asyncio  # noqa: PLC0415

    async def asked(folder: Path) -> dict[str, Any]:
        async with visited(folder, calm=False) as v:
            found: dict[str, Any] = (await v.web.get("/api/v1/openapi.json")).json()
            return found

    return asyncio.run(asked(tmp_path_factory.mktemp("described")))


def examples(operation: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (code, kind, found)
        for code, answer in operation["responses"].items()
        for kind, found in answer.get("content", {}).items()
        if "example" in found
    ]


def test_every_route_has_an_example(document: dict[str, Any]) -> None:
    lacking = {
        f"{method.upper()} {path}"
        for method, path, operation in operations(document)
        if not examples(operation)
    }
    assert lacking == set(_WITHOUT)


def test_every_example_is_as_the_document_says(document: dict[str, Any]) -> None:
    checked = 0
    for method, path, operation in operations(document):
        body = operation.get("requestBody", {}).get("content", {})
        asked = [("asked", kind, found) for kind, found in body.items() if "example" in found]
        for what, kind, found in (*examples(operation), *asked):
            if "json" not in kind:
                continue
            schema = {**found["schema"], "components": document["components"]}
            try:
                jsonschema.Draft202012Validator(schema).validate(found["example"])
            except jsonschema.ValidationError as error:
                pytest.fail(f"{method} {path} {what}: {error.message}")
            checked += 1
    assert checked > 40


def test_every_refusal_is_told_as_problem_details(document: dict[str, Any]) -> None:
    for method, path, operation in operations(document):
        for code, answer in operation["responses"].items():
            if code >= "400":
                assert list(answer["content"]) == [_PROBLEM], (method, path, code)


def test_every_reference_leads_somewhere(document: dict[str, Any]) -> None:
    def references(schema: Any) -> list[str]:
        if isinstance(schema, list):
            return [ref for one in schema for ref in references(one)]
        if not isinstance(schema, dict):
            return []
        own = [schema["$ref"]] if isinstance(schema.get("$ref"), str) else []
        return own + [ref for one in schema.values() for ref in references(one)]

    known = {f"#/components/schemas/{name}" for name in document["components"]["schemas"]}
    assert set(references(document)) <= known


def test_every_list_that_comes_in_parts_says_so(document: dict[str, Any]) -> None:
    """A list of the log or of files may grow for ever."""
    for method, path, operation in operations(document):
        found = operation["responses"].get("200", {}).get("content", {}).get("application/json", {})
        if method == "get" and found.get("schema", {}).get("type") == "array":
            names = {one["name"] for one in operation.get("parameters", [])}
            assert {"limit", "after"} <= names, path
            assert "Link" in operation["responses"]["200"]["headers"], path
