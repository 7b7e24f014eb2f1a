"""The OpenAPI document: what every route shares is said here once, and each has its example.

The examples are answers of this program about an invented farm (``examples.json``), taken by
``python -m tests.support.api_examples``; a test holds them to the document.
"""

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from watcher.web.problem import PROBLEM

OPENAPI_URL = "/api/v1/openapi.json"
_EXAMPLES = Path(__file__).with_name("examples.json")
_METHODS = {"get", "put", "post", "patch", "delete"}
_WRONG = {"$ref": "#/components/schemas/Wrong"}
_EVERYWHERE = {
    "500": "Something went wrong here; nothing is said of what, its log has more",
    "503": "Too much is asked for at once, or the log cannot be used just now; try again",
}
_ETAG = {"description": "Changes with the answer", "schema": {"type": "string"}}
_IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "description": "The ETag of an answer that is known: 304 where it is still the same",
    "schema": {"type": "string", "maxLength": 200},
}
_ABOUT = (
    "All that the pages show and do, for programs. Numbers are SI and times epoch seconds (UTC); "
    "what is not known is null, never 0 and never left out. Sentences are in the language that "
    "Accept-Language asks for. Errors are problem details (RFC 9457), lists come in parts (Link, "
    "RFC 8288), and what is read has an ETag. A version of the API changes only by additions."
)


def describe(app: FastAPI) -> None:
    """Let an application tell its API by this document."""

    @cache
    def document() -> dict[str, Any]:
        made = get_openapi(title=app.title, version="1", description=_ABOUT, routes=app.routes)
        return completed(made)

    app.openapi = document  # type: ignore[method-assign]


def completed(document: dict[str, Any]) -> dict[str, Any]:
    """Return a document with what every route shares, and with the examples."""
    examples = json.loads(_EXAMPLES.read_text(encoding="utf-8")) if _EXAMPLES.exists() else {}
    for method, path, operation in operations(document):
        answers = operation["responses"]
        for code, words in _EVERYWHERE.items():
            answers.setdefault(code, {"description": words})
        for code, answer in answers.items():
            if code >= "400":
                _as_problem(answer)
        if method == "get" and "200" in answers and not _streams(answers["200"]):
            answers["304"] = {"description": "As it is known"}
            answers["200"].setdefault("headers", {})["ETag"] = _ETAG
            operation.setdefault("parameters", []).append(_IF_NONE_MATCH)
        _with_example(operation, examples.get(f"{method.upper()} {path}", {}))
    for unused in ("HTTPValidationError", "ValidationError"):
        document["components"]["schemas"].pop(unused, None)
    return document


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield method, path and description of everything that can be asked."""
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if method in _METHODS:
                yield method, path, operation


def _as_problem(answer: dict[str, Any]) -> None:
    said = next(iter(answer.get("content", {}).values()), {"schema": _WRONG})
    if "HTTPValidationError" in json.dumps(said):
        said = {"schema": _WRONG}
    answer["content"] = {PROBLEM: said}


def _streams(answer: dict[str, Any]) -> bool:
    return bool({"text/event-stream", "text/csv"} & set(answer.get("content", {})))


def _with_example(operation: dict[str, Any], example: dict[str, Any]) -> None:
    answer = operation["responses"].get(example.get("status"))
    if answer is not None and "answer" in example:
        for content in answer.get("content", {}).values():
            content["example"] = example["answer"]
    if "asked" in example:
        for content in operation.get("requestBody", {}).get("content", {}).values():
            content["example"] = example["asked"]
    for parameter in operation.get("parameters", []):
        if parameter["name"] in example.get("of", {}):
            parameter["example"] = example["of"][parameter["name"]]
