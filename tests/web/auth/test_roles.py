"""Every route by the role that it asks for: one without a line here fails."""

import re
from collections.abc import AsyncIterator, Iterable, Iterator, Mapping
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from starlette.routing import BaseRoute

from tests.support.farm_files import written
from tests.support.visiting import LOOKER, OWNER, PROGRAM, Visited, visited
from watcher.web.auth.users import Role, User

ANYBODY = """
GET /login
POST /login
GET /login/{link}
POST /login/{link}
GET /static/{file}
GET /worker.js
GET /app.webmanifest
GET /favicon.ico
GET /health
"""
"""Nothing of the farm is told, and nothing changed but who is in."""

OWN_TOKEN = """
POST /stations/{station}/readings
GET /seen/{token}
POST /seen/{token}
POST /devices/push/receipt
GET /calendar/{token}.ics
POST /api/v1/stations/{station}/readings
"""
"""Whoever shows the token that was made for this alone."""

LOOK = """
POST /logout
GET /devices
GET /devices/push
POST /devices/push
POST /devices/push/state
POST /devices/push/test
GET /
GET /more
GET /sources
GET /fields/{field}
GET /farm
GET /farm/people
GET /farm/versions/{number}
GET /hours
GET /plan
GET /plan.ics
POST /calendars
POST /calendars/{feed}/stop
GET /skill
GET /jobs
GET /jobs/{number}
GET /log
GET /records
GET /records/{number}
GET /incidents
GET /incidents/{number}
GET /live
GET /metrics
GET /api/v1/plan
GET /api/v1/ranking
GET /api/v1/fields/{field}/reasons
GET /api/v1/fields/{field}/forecast
GET /api/v1/log.csv
GET /api/v1/health
GET /api/v1/jobs
GET /api/v1/jobs/{number}
GET /api/v1/farm
GET /api/v1/farm/boundaries.geojson
GET /api/v1/farm/versions
GET /api/v1/farm/versions/{number}
GET /api/v1/records.json
GET /api/v1/records.csv
GET /api/v1/records/{number}/page.pdf
GET /api/v1/incidents
GET /api/v1/incidents/{number}
GET /api/v1/incidents/{number}/page.pdf
GET /api/v1/incidents/{number}/document.json
GET /api/v1/events
GET /api/v1/farm/seasons
GET /api/v1/farm/versions/{number}/{file}
GET /api/v1/fields/{field}/hours
GET /api/v1/map.geojson
GET /api/v1/messages
GET /api/v1/records
GET /api/v1/records/{number}
GET /api/v1/season
GET /api/v1/weather
GET /farm/map
GET /map/tiles/{z}/{x}/{y}
"""

RUN = """
POST /devices/push/pause
POST /plan/{what}
POST /jobs
POST /jobs/{number}/{name}
POST /records/{number}/save
POST /records/{number}/close
POST /incidents
POST /api/v1/plan/wishes
POST /api/v1/plan/{number}/accept
POST /api/v1/jobs
POST /api/v1/jobs/{number}/{step}
POST /api/v1/records/{number}/values
POST /api/v1/incidents
POST /api/v1/messages/{id}/seen
POST /api/v1/records/{number}/close
"""

ADMINISTER = """
POST /devices/link
POST /devices/{number}/out
GET /fields/{field}/change
POST /fields/{field}/change
GET /fields/{field}/bound/{key}
POST /fields/{field}/bound/{key}
POST /farm/versions/{number}/undo
POST /farm/versions/{number}/restore
GET /farm/new-person
POST /farm/new-person
GET /farm/people/{name}
POST /farm/people/{name}
POST /farm/people/{name}/remove
POST /farm/people/{name}/test
GET /farm/secrets
POST /farm/secrets/{kind}/{name}
POST /farm/secrets/{kind}/{name}/remove
GET /people
POST /people
POST /people/{number}/link
POST /people/{number}/last-day
POST /people/{number}/withdraw
PATCH /api/v1/farm
PUT /api/v1/farm/{table}/{name}
DELETE /api/v1/farm/{table}/{name}
POST /api/v1/farm/versions/{number}/restore
GET /api/v1/secrets
PUT /api/v1/secrets/{kind}/{name}
DELETE /api/v1/secrets/{kind}/{name}
GET /api/v1/farm/export.zip
GET /farm/add/products
GET /farm/add/setups
GET /farm/add/sprayers
GET /farm/add/station
GET /farm/add/windows
GET /farm/copy
GET /farm/copy/products/{name}
GET /farm/copy/setups/{name}
GET /farm/copy/sprayers/{name}
GET /farm/copy/windows/{name}
GET /farm/export.zip
GET /farm/add/{of}/{name}/{key}
POST /farm/add/{of}/{name}/{key}
GET /farm/{of}/{name}/{key}/{number}
POST /farm/{of}/{name}/{key}/{number}
GET /farm/copy/{of}/{name}/{key}/{number}
POST /farm/copy/{of}/{name}/{key}/{number}
POST /farm/remove/{of}/{name}/{key}/{number}
GET /farm/neighbours/{name}
POST /farm/neighbours/{name}
GET /farm/read-in
POST /farm/read-in
GET /farm/feed
GET /farm/map/new/{role}
GET /farm/map/{role}/{name}
GET /farm/products/{name}
GET /farm/season
GET /farm/setups/{name}
GET /farm/sprayers/{name}
GET /farm/windows/{name}
POST /api/v1/farm/fields/{field}/copy
POST /api/v1/farm/import
POST /api/v1/farm/seasons
POST /farm/add/products
POST /farm/add/setups
POST /farm/add/sprayers
POST /farm/add/station
POST /farm/add/windows
POST /farm/copy
POST /farm/copy/products/{name}
POST /farm/copy/setups/{name}
POST /farm/copy/sprayers/{name}
POST /farm/copy/windows/{name}
POST /farm/feed
POST /farm/map/look
POST /farm/map/new/{role}
POST /farm/map/{role}/{name}
POST /farm/map/{role}/{name}/remove
POST /farm/products/{name}
POST /farm/remove/products/{name}
POST /farm/remove/setups/{name}
POST /farm/remove/sprayers/{name}
POST /farm/remove/windows/{name}
POST /farm/season
POST /farm/setups/{name}
POST /farm/sprayers/{name}
POST /farm/windows/{name}
"""

_ENDLESS = {"GET /live", "GET /api/v1/events"}
"""Streams, which have tests of their own."""
_PROGRAMS = {Role.LOOK: LOOKER, Role.RUN: PROGRAM, Role.ADMINISTER: OWNER}
_NEEDS = re.compile(r"this needs the role (\w+)")
_NAMED = {
    "field": "hill",
    "key": "wind",
    "name": "grower",
    "number": "1",
    "kind": "push_urls",
    "table": "fields",
    "step": "pause",
    "what": "accept",
    "file": "page.css",
}


def table() -> dict[str, Role | None]:
    """The role of each route; None where none is asked for."""
    lines: Mapping[str, Role | None] = {
        ANYBODY: None,
        OWN_TOKEN: None,
        LOOK: Role.LOOK,
        RUN: Role.RUN,
        ADMINISTER: Role.ADMINISTER,
    }
    return {line: role for text, role in lines.items() for line in text.strip().splitlines()}


def routes(app: FastAPI) -> list[str]:
    """Every route of the application, as the table has them."""
    return [f"{method} {route.path}" for route in _every(app.routes) for method in route.methods]


def _every(found: Iterable[BaseRoute]) -> Iterator[APIRoute]:
    for route in found:
        if isinstance(route, APIRoute):
            yield route
        elif (router := getattr(route, "original_router", None)) is not None:
            yield from _every(router.routes)


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=written(tmp_path), calm=False) as v:
        yield v


async def asked(site: Visited, route: str, role: Role | None, *, program: bool) -> httpx.Response:
    """Ask for a route as somebody with a role; None: as a stranger."""
    method, path = route.split(" ")
    path = re.sub(r"{(\w+)}", lambda m: _NAMED.get(m[1], "x"), path)
    headers = {}
    site.web.cookies.clear()
    if role is not None and program:
        headers["Authorization"] = f"Bearer {_PROGRAMS[role]}"
    elif role is not None:
        now = site.service.clock.now()
        token = site.sessions.open(User("somebody", role), now, by_link=True)
        headers["Cookie"] = f"watcher={token}"
    return await site.web.request(method, path, headers=headers)


def let_through(answer: httpx.Response) -> bool:
    """Whether an answer came from behind the log-in, whatever it says."""
    to_login = answer.headers.get("location", "").startswith("/login")
    unknown = answer.status_code == 401
    return not (to_login or unknown or _NEEDS.search(answer.text))


async def test_every_route_has_a_role_in_the_table_and_none_is_left_over(site: Visited) -> None:
    assert sorted(routes(site.service.app)) == sorted(table())


@pytest.mark.long
async def test_every_route_lets_through_its_role_and_those_above_and_nobody_else(
    site: Visited,
) -> None:
    wrong = []
    for route, needed in table().items():
        if needed is None or route in _ENDLESS | {"POST /logout"}:
            continue
        api = " /api/v1/" in route
        for role in (None, *Role):
            program = api and (needed is Role.ADMINISTER or not route.startswith("GET"))
            answer = await asked(site, route, role, program=program)
            expected = role is not None and role >= needed
            if let_through(answer) != expected:
                wrong.append(f"{route} as {role}: {answer.status_code}")
    assert wrong == []


@pytest.mark.long
async def test_what_changes_something_through_the_api_takes_no_browser(site: Visited) -> None:
    for route in table():
        if " /api/v1/" in route and not route.startswith("GET"):
            answer = await asked(site, route, Role.ADMINISTER, program=False)
            assert answer.status_code == 401, route


@pytest.mark.long
async def test_who_shows_no_token_made_for_it_is_told_nothing(site: Visited) -> None:
    for route in OWN_TOKEN.strip().splitlines():
        answer = await asked(site, route, None, program=False)
        assert answer.status_code in {401, 403, 404}, route
        assert "hill" not in answer.text


@pytest.mark.long
async def test_an_access_that_ended_opens_no_route(site: Visited) -> None:
    now = site.service.clock.now()
    guest = site.sessions.invite(
        "helper", Role.ADMINISTER, now + 60, by=User("boss", Role.ADMINISTER), now=now
    )
    user = site.sessions.use_link(site.sessions.guest_link(guest, now), now)
    assert user is not None
    token = site.sessions.open(user, now, by_link=True)
    site.service.clock.at += 60
    for route, needed in table().items():
        if needed is None:
            continue
        method, path = route.split(" ")
        path = re.sub(r"{(\w+)}", lambda m: _NAMED.get(m[1], "x"), path)
        answer = await site.web.request(method, path, headers={"Cookie": f"watcher={token}"})
        assert answer.status_code in {401, 403}, route
        assert "hill" not in answer.text
