"""The stream of events: a judgement is told at once, the stream ends when it must."""

import asyncio
import time
from pathlib import Path

import httpx

from tests.support.visiting import CALM, visited


async def _next(lines: "asyncio.Queue[str]", event: str) -> float:
    async with asyncio.timeout(15):
        while await lines.get() != f"event: {event}":
            pass
    return time.monotonic()


async def _read(answer: httpx.Response, lines: "asyncio.Queue[str]") -> None:
    async for line in answer.aiter_lines():
        lines.put_nowait(line)


async def test_a_reading_is_told_within_a_second(tmp_path: Path) -> None:
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
            assert await _next(lines, "judged") - posted < 1.0
            reading.cancel()
            await asyncio.gather(reading, return_exceptions=True)


async def test_a_device_put_out_hears_so(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        lines: asyncio.Queue[str] = asyncio.Queue()
        async with v.web.stream("GET", "/live") as answer:
            reading = asyncio.create_task(_read(answer, lines))
            await _next(lines, "judged")
            session = v.keyring.session(v.web.cookies["watcher"], v.service.clock.at)
            assert session is not None
            v.keyring.shut(session.number)
            v.service.watch.wake()
            await _next(lines, "out")
            await reading  # the stream has ended


async def test_a_stranger_hears_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        assert (await v.web.get("/live")).status_code == 401
