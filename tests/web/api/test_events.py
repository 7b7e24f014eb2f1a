"""The stream of events for programs: what is told, once, after a gap too, and to whom."""

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from pydantic import SecretStr

from tests.support.visiting import CALM, LOOKER, NOON, PROGRAM, Visited, visited
from watcher.service.happenings import Place
from watcher.web.api import events
from watcher.web.auth.users import Users

ROBOT = {"Authorization": f"Bearer {PROGRAM}"}


class Heard:
    """What a program has heard, and the newest id."""

    def __init__(self, lines: AsyncIterator[str]) -> None:
        self._lines = lines
        self.id = ""
        self.names: list[str] = []

    async def next(self, wanted: str) -> Any:
        """Read on to the next event of a name; returns what it told."""
        name = ""
        async with asyncio.timeout(20):
            async for line in self._lines:
                key, _, value = line.partition(": ")
                if key == "id":
                    self.id = value
                elif key == "event":
                    name = value
                    self.names.append(value)
                elif key == "data" and name == wanted:
                    return json.loads(value)
        raise AssertionError(f"the stream ended before {wanted}: {self.names}")


@asynccontextmanager
async def listening(v: Visited, **headers: str) -> AsyncIterator[Heard]:
    async with v.web.stream("GET", "/api/v1/events", headers=ROBOT | headers) as answer:
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        heard = Heard(answer.aiter_lines())
        await heard.next("judged")
        yield heard


async def start(v: Visited) -> httpx.Response:
    asked = {"field": "hill", "setup": "coarse"}
    return await v.web.post("/api/v1/jobs", json=asked, headers=ROBOT)


async def test_a_step_and_what_it_brings_are_told(tmp_path: Path) -> None:
    async with visited(tmp_path) as v, listening(v) as heard:
        await start(v)
        found = await heard.next("step")
        assert found == {"job": 1, "at": NOON, "what": "started"}
        await v.service.post(**CALM | {"wind": "30 mph", "gust": "35 mph"})
        begun = await heard.next("begun")
        assert begun["subject"] == "job:1"


async def test_what_happened_in_a_gap_is_told_afterwards(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        async with listening(v) as heard:
            known = heard.id
        await start(v)
        async with v.web.stream(
            "GET", "/api/v1/events", headers=ROBOT | {"Last-Event-ID": known}
        ) as answer:
            heard = Heard(answer.aiter_lines())
            assert (await heard.next("step"))["what"] == "started"
            assert heard.names[0] == "step"
        async with listening(v) as later:
            assert later.names == ["judged"], "who comes new hears nothing old"


@pytest.mark.parametrize("known", ["0-0", "words", f"{NOON - 2 * 86_400}-0"])
async def test_who_was_away_for_too_long_is_told_so(tmp_path: Path, known: str) -> None:
    async with (
        visited(tmp_path) as v,
        v.web.stream("GET", "/api/v1/events", headers=ROBOT | {"Last-Event-ID": known}) as answer,
    ):
        heard = Heard(answer.aiter_lines())
        assert await heard.next("missed") == {}
        assert Place.of(heard.id) is not None


async def test_a_token_that_is_withdrawn_ends_it(tmp_path: Path) -> None:
    access = Users(programs={"robot": SecretStr(f"run:{PROGRAM}")})
    async with visited(tmp_path, access=access) as v, listening(v) as heard:
        access._programs.clear()
        v.service.watch.wake()
        await heard.next("out")
        with pytest.raises(AssertionError, match="ended"):
            await heard.next("judged")


async def test_a_program_has_so_many_streams(tmp_path: Path) -> None:
    async with visited(tmp_path) as v, contextlib.AsyncExitStack() as streams:
        for _ in range(events.MOST_OF_ONE):
            await streams.enter_async_context(listening(v))
        more = await v.web.get("/api/v1/events", headers=ROBOT)
        assert (more.status_code, more.headers["retry-after"]) == (429, "15")
        assert more.headers["content-type"] == "application/problem+json"
        other = {"Authorization": f"Bearer {LOOKER}"}
        async with v.web.stream("GET", "/api/v1/events", headers=other) as answer:
            assert answer.status_code == 200


async def test_a_stranger_hears_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        assert (await v.web.get("/api/v1/events")).status_code == 401
