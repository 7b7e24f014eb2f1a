"""Takes the examples of the API's description: answers of the running program about an invented
farm. ``python -m tests.support.api_examples`` writes them anew.
"""

import asyncio
import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import watcher.web.api
from tests.support.farm_files import written
from tests.support.running import TOKEN
from tests.support.visiting import CALM, NOON, OWNER, visited

FILE = Path(watcher.web.api.__file__).with_name("examples.json")
_FEW = 2
_MATCH = {"If-Match": "*"}
_WEEKLY = {"fields": {"hill": {"weeds": "weedy"}}}
_BEGINS = {"hill": {"weeds": "clean", "crop": "wheat"}, "creek_side": {"weeds": "weedy"}}
_READING = {"time": "2026-06-10T16:30:00Z"} | CALM


@dataclass(frozen=True)
class Question:
    """One request: the route, what stands in its gaps and its query, and its body."""

    route: str
    of: Mapping[str, Any] = field(default_factory=dict)
    query: Mapping[str, Any] = field(default_factory=dict)
    asked: Any = None
    headers: Mapping[str, str] = field(default_factory=dict)
    refused: bool = False
    """Whether the example is a refusal."""


_HILL = {"field": "hill"}
_ONE = {"number": 1}
_DRY = {"dry_run": "true"}
_SPAN = {"start": NOON - 86_400, "end": NOON}
QUESTIONS = [
    Question("GET /ranking"),
    Question("GET /fields/{field}/reasons", _HILL),
    Question("GET /fields/{field}/forecast", _HILL),
    Question("GET /fields/{field}/hours", _HILL, {"limit": 2}),
    Question("GET /weather"),
    Question("GET /map.geojson"),
    Question("GET /health"),
    Question("GET /season", query=_SPAN),
    Question("GET /plan"),
    Question(
        "POST /stations/{station}/readings",
        {"station": "mast"},
        asked=_READING,
        headers={"Authorization": f"Bearer {TOKEN}"},
    ),
    Question("GET /log.csv", query={"source": "mast", "start": NOON - 60, "end": NOON + 3600}),
    Question("POST /jobs", asked={"field": "hill", "setup": "coarse"}),
    Question("GET /messages"),
    Question("POST /messages/{id}/seen"),
    Question("POST /jobs/{number}/{step}", _ONE | {"step": "pause"}, asked={"note": "a gate"}),
    Question("POST /jobs/{number}/{step}", _ONE | {"step": "finish"}, asked={"done": "40 %"}),
    Question("GET /jobs"),
    Question("GET /jobs/{number}", _ONE),
    Question("POST /records/{number}/values", _ONE, asked={"values": {"applicator": "A. Grower"}}),
    Question("POST /records/{number}/close", _ONE, asked={"incomplete": "the label is at home"}),
    Question("GET /records"),
    Question("GET /records/{number}", _ONE),
    Question("GET /records.json"),
    Question("GET /records.csv"),
    Question(
        "POST /incidents",
        asked={
            "suspected": "from us",
            "place": "orchard",
            "start": NOON,
            "seen": "curled leaves",
        },
    ),
    Question("GET /incidents"),
    Question("GET /incidents/{number}", _ONE),
    Question("GET /incidents/{number}/document.json", _ONE),
    Question("POST /plan/wishes", asked={"wish": "not today", "field": "creek_side"}),
    Question("POST /plan/{number}/accept", _ONE, refused=True),
    Question("GET /farm"),
    Question("PATCH /farm", asked=_WEEKLY, headers=_MATCH),
    Question("GET /farm/boundaries.geojson"),
    Question("GET /farm/versions"),
    Question("GET /farm/versions/{number}", {"number": 2}),
    Question("GET /farm/versions/{number}/{file}", {"number": 1, "file": "farm.toml"}),
    Question("POST /farm/versions/{number}/restore", _ONE, _DRY),
    Question(
        "PUT /farm/{table}/{name}",
        {"table": "recipients", "name": "helper"},
        asked={"hears": ["job"]},
        headers=_MATCH,
    ),
    Question(
        "DELETE /farm/{table}/{name}", {"table": "recipients", "name": "helper"}, headers=_MATCH
    ),
    Question("POST /farm/fields/{field}/copy", _HILL, _DRY, {"name": "hill_two", "side": "north"}),
    Question("POST /farm/seasons", asked={"season": "2026", "fields": _BEGINS}, headers=_MATCH),
    Question("GET /farm/seasons"),
    Question("GET /secrets"),
    Question(
        "PUT /secrets/{kind}/{name}",
        {"kind": "push_urls", "name": "grower"},
        asked={"secret": "mailto://example.invalid"},
        refused=True,
    ),
    Question(
        "DELETE /secrets/{kind}/{name}", {"kind": "push_urls", "name": "grower"}, refused=True
    ),
]


async def examples() -> tuple[dict[str, Any], dict[str, str]]:
    """Return an example of each route that answers in text, and why others have none."""
    found: dict[str, Any] = {}
    failed: dict[str, str] = {}
    with tempfile.TemporaryDirectory() as folder:
        file = written(Path(folder))
        async with visited(Path(folder), farm_file=file) as v:
            v.web.headers["Authorization"] = f"Bearer {OWNER}"
            for one in QUESTIONS:
                if one.route == "GET /messages":
                    v.service.clock.at += 60
                    await v.service.post(**CALM | {"wind": "30 mph", "gust": "35 mph"})
                    await v.service.judged()
                method, path = one.route.split()
                of = dict(one.of)
                if "{id}" in path:
                    of = {"id": (await v.web.get("/api/v1/messages")).json()[0]["id"]}
                address = "/api/v1" + path.format(**of)
                said: dict[str, Any] = {} if one.asked is None else {"json": one.asked}
                answer = await v.web.request(
                    method, address, params=one.query, headers=one.headers, **said
                )
                key = f"{method} /api/v1{path}"
                if (answer.status_code >= 400) is not one.refused:
                    failed[key] = answer.text
                    continue
                example: dict[str, Any] = {"status": str(answer.status_code)}
                example["answer"] = (
                    _few(answer.json())
                    if "json" in answer.headers["content-type"]
                    else "\n".join(answer.text.splitlines()[:4]) + "\n"
                )
                if one.asked is not None:
                    example["asked"] = one.asked
                if of or one.query:
                    example["of"] = of | one.query
                found[key] = example
    return found, failed


def _few(given: Any) -> Any:
    """The same with its long lists cut: an example shows what one looks like."""
    if isinstance(given, list):
        return [_few(one) for one in given[:_FEW]]
    if isinstance(given, dict):
        return {key: _few(value) for key, value in given.items() if key != "coordinates"} | (
            {"coordinates": given["coordinates"]} if "coordinates" in given else {}
        )
    return given


if __name__ == "__main__":
    taken, refused = asyncio.run(examples())
    for route, why in refused.items():
        print(route, why)
    FILE.write_text(json.dumps(taken, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
