"""No number or word in an address or a form, however odd, is ever more than a refusal."""

import json
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError
from starlette.routing import BaseRoute

from tests.support.visiting import PROGRAM, Visited, visited
from watcher.web.auth.users import Role
from watcher.web.path_numbers import BIGGEST, Number

ODD = [
    "0",
    "-1",
    "-9223372036854775809",
    str(2**31),
    str(2**63),
    "9999999999999999999999",
    "9" * 400,
    "1e400",
    "1.5",
    "nan",
    "inf",
    "-Infinity",
    "0x10",
    "٣",
    "one",
    "\0",
    "\ud800".encode("utf-8", "surrogatepass").decode("latin-1"),
    "../..",
    "%",
]
_FIELDS = ["field", "setup", "note", "ref", "key", "value", "why", "name", "role", "next", "user"]


def _every(routes: Iterable[BaseRoute]) -> Iterator[APIRoute]:
    """Routes and those of the routers among them."""
    for route in routes:
        if isinstance(route, APIRoute):
            yield route
        elif (router := getattr(route, "original_router", None)) is not None:
            yield from _every(router.routes)


def _routes(app: FastAPI) -> Iterator[tuple[str, str, list[str]]]:
    """Every route's method, path and the names in its query."""
    for route in _every(app.routes):
        if route.path != "/live":
            query = [field.alias for field in route.dependant.query_params]
            for method in sorted(route.methods):
                yield method, route.path, query


def _asked(routes: list[tuple[str, str, list[str]]]) -> Iterator[tuple[str, str]]:
    """Requests with one odd value each in the path or the query, the rest as it should be."""
    for method, path, query in routes:
        names = re.findall(r"{(\w+)}", path)
        plain = {"field": "hill", "number": "1", "step": "pause", "station": "mast"}
        for odd in ODD:
            for name in names:
                found = plain | {name: quote(odd, safe="")}
                yield method, re.sub(r"{(\w+)}", lambda m, t=found: t.get(m[1], "x"), path)
            good = re.sub(r"{(\w+)}", lambda m, t=plain: t.get(m[1], "x"), path)
            for name in query:
                rest = {"source": "mast", "start": "1", "end": "9"}
                said = {n: rest[n] for n in query if n in rest} | {name: odd}
                pairs = "&".join(f"{n}={quote(value, safe='')}" for n, value in said.items())
                yield method, f"{good}?{pairs}"


@pytest.mark.long
async def test_no_route_fails_whatever_stands_in_its_path_or_query(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        routes = list(_routes(_app(v)))
        assert len(routes) > 40
        failed = []
        v.log_in(Role.ADMINISTER)
        for method, path in _asked([r for r in routes if r[0] == "GET"]):
            answer = await v.web.request(method, path, timeout=60)
            if answer.status_code >= 500:
                failed.append(f"{method} {path[:80]} {answer.status_code}")
        assert failed == []


@pytest.mark.long
async def test_no_step_fails_whatever_number_it_names(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.ADMINISTER)
        token = v.form_token((await v.web.get("/more")).text)
        program = {"Authorization": f"Bearer {PROGRAM}"}
        failed = []
        for method, path in _asked([r for r in _routes(_app(v)) if r[0] != "GET"]):
            if path.startswith(("/logout", "/login")):
                continue
            to_program = path.startswith("/api")
            found: dict[str, Any] = (
                {"json": {}, "headers": program} if to_program else {"data": {"form_token": token}}
            )
            answer = await v.web.request(method, path, timeout=60, **found)
            if answer.status_code >= 500:
                failed.append(f"{method} {path[:80]} {answer.status_code}")
        assert failed == []


@pytest.mark.parametrize(
    "path", ["/jobs", "/jobs/1/pause", "/jobs/1/seen", "/records/1/set", "/devices/link"]
)
@pytest.mark.long
async def test_no_form_fails_whatever_is_typed_into_it(tmp_path: Path, path: str) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.ADMINISTER)
        token = v.form_token((await v.web.get("/more")).text)
        for odd in ODD:
            content = {"form_token": token} | dict.fromkeys(_FIELDS, odd)
            answer = await v.web.post(path, data=content, timeout=60)
            assert answer.status_code < 500, (path, odd)


@pytest.mark.parametrize("path", ["/api/v1/jobs", "/api/v1/jobs/1/pause", "/devices/push"])
async def test_no_json_fails_whatever_it_holds(tmp_path: Path, path: str) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        headers = {"Authorization": f"Bearer {PROGRAM}", "Content-Type": "application/json"}
        bodies = [
            *(json.dumps(dict.fromkeys(_FIELDS, odd)) for odd in ODD[:-3]),
            *(f'{{"note": {n}, "field": {n}, "setup": 1}}' for n in ("1e999", "NaN", "9" * 400)),
            '{"note": "\\ud800"}',
            '{"note": "\\u0000"}',
            "[" * 5000,
            "",
            "null",
        ]
        for body in bodies:
            answer = await v.web.post(path, content=body, headers=headers, timeout=60)
            assert answer.status_code < 500, body[:60]


_NUMBER: TypeAdapter[int] = TypeAdapter(Number)


@given(st.one_of(st.integers().map(str), st.floats().map(str), st.text(max_size=30)))
@settings(max_examples=300)
def test_a_number_is_one_a_table_can_hold_or_none(text: str) -> None:
    try:
        found = _NUMBER.validate_python(text)
    except ValidationError:
        return
    assert 1 <= found <= BIGGEST


def _app(v: Visited) -> FastAPI:
    return v.service.app
