"""The stream of events: a judgement is told at once, the stream ends when it must."""

import asyncio
import contextlib
import time
from pathlib import Path

import httpx
from fastapi import Request

from tests.support.visiting import CALM, visited
from watcher.service.kept_secrets import Secrets
from watcher.service.secrets_in_use import SecretsInUse
from watcher.web.auth.authenticator import Authenticator
from watcher.web.auth.users import Users
from watcher.web.context import AppContext
from watcher.web.pages.events import MOST_OF_ONE, events_of
from watcher.web.streams import Streams


async def _next(lines: "asyncio.Queue[str]", event: str) -> float:
    async with asyncio.timeout(15):
        while await lines.get() != f"event: {event}":
            pass
    return time.monotonic()


async def _read(answer: httpx.Response, lines: "asyncio.Queue[str]") -> None:
    async for line in answer.aiter_lines():
        lines.put_nowait(line)


async def test_a_reading_is_shown_before_the_next_judgement_is_due(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        lines: asyncio.Queue[str] = asyncio.Queue()
        async with v.web.stream("GET", "/live") as answer:
            assert answer.headers["content-type"].startswith("text/event-stream")
            reading = asyncio.create_task(_read(answer, lines))
            await _next(lines, "judged")
            v.service.clock.at += 60
            posted = time.monotonic()
            await v.service.post(**CALM | {"gust": "19 mph"})
            # One is due every 30 s; half of that is left to a busy machine.
            assert await _next(lines, "judged") - posted < 15.0
            reading.cancel()
            await asyncio.gather(reading, return_exceptions=True)


async def test_a_device_put_out_hears_so(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        lines: asyncio.Queue[str] = asyncio.Queue()
        async with v.web.stream("GET", "/live") as answer:
            reading = asyncio.create_task(_read(answer, lines))
            await _next(lines, "judged")
            session = v.sessions.session(v.web.cookies["watcher"], v.service.clock.at)
            assert session is not None
            v.sessions.shut(session.number)
            v.service.watch.wake()
            await _next(lines, "out")
            await reading  # the stream has ended


async def test_a_stranger_hears_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        assert (await v.web.get("/live")).status_code == 401


async def test_a_device_has_so_many_streams_and_hears_when_it_has_no_more(tmp_path: Path) -> None:
    async with visited(tmp_path) as v, contextlib.AsyncExitStack() as streams:
        v.log_in()
        readers = []  # one that is let go would close its stream
        for _ in range(MOST_OF_ONE):
            answer = await streams.enter_async_context(v.web.stream("GET", "/live"))
            readers.append(answer.aiter_text())
            assert (await anext(readers[-1])).startswith("retry: 2000\n\n")
        async with asyncio.timeout(20):
            more = await v.web.get("/live")
        assert more.text == "retry: 15000\n\n"
        token = v.web.cookies["watcher"]
        v.web.cookies.clear()
        v.log_in()  # another device
        assert v.web.cookies["watcher"] != token
        async with v.web.stream("GET", "/live") as answer:
            assert (await anext(answer.aiter_text())).startswith("retry: 2000\n\n")


async def test_all_devices_together_have_a_bounded_number_of_streams(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        v.log_in()
        watch = v.service.watch
        auth = Authenticator(v.sessions, Users(), v.service.clock)
        context = AppContext(watch, auth, pushes=None, secrets=SecretsInUse(watch, Secrets()))
        streams, request = Streams(of_one=5, in_all=3), Request({"type": "http", "headers": []})
        kept = [events_of(streams, context, request, number) for number in range(3)]
        assert [await anext(stream) for stream in kept] == ["retry: 2000\n\n"] * 3
        full = events_of(streams, context, request, 9)
        assert [event async for event in full] == ["retry: 15000\n\n"]
        await kept[0].aclose()  # type: ignore[attr-defined]
        again = events_of(streams, context, request, 9)
        assert await anext(again) == "retry: 2000\n\n"
        for stream in (*kept[1:], again):
            await stream.aclose()  # type: ignore[attr-defined]
