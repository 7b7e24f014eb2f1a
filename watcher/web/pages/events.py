"""A stream of server-sent events: one whenever the watch has judged, a beat in between."""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse

from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext

BEAT_S = 10.0
_RETRY_MS, _RETRY_FULL_MS = 2000, 15_000
MOST_OF_ONE, MOST_STREAMS = 8, 80
"""Streams open at once: of one device, a page each, and in all."""


class Streams:
    """The open streams. ``close`` ends them, so that the server need not wait for their phones."""

    def __init__(self, *, of_one: int = MOST_OF_ONE, in_all: int = MOST_STREAMS) -> None:
        self._closing = asyncio.Event()
        self._of_one, self._in_all = of_one, in_all
        self._open: Counter[int | None] = Counter()
        """By the number of the session."""

    def close(self) -> None:
        self._closing.set()

    async def of(
        self, house: AppContext, request: Request, session: int | None
    ) -> AsyncIterator[str]:
        """Yield events until the device goes, is put out, or the server stops.

        A device with too many of them is asked to come back later: its page says how old it is.
        """
        if self._open[session] >= self._of_one or self._open.total() >= self._in_all:
            yield f"retry: {_RETRY_FULL_MS}\n\n"
            return
        self._open[session] += 1
        try:
            async for event in self._events(house, request):
                yield event
        finally:
            self._open[session] -= 1
            if not self._open[session]:
                del self._open[session]

    async def _events(self, house: AppContext, request: Request) -> AsyncIterator[str]:
        yield f"retry: {_RETRY_MS}\n\n"
        newest = -1
        while not self._closing.is_set():
            # In a thread: the file of sessions may be slow.
            if (await run_in_threadpool(house.door.visitor, request)).user is None:
                yield "event: out\ndata:\n\n"
                return
            judged = house.watch.judged
            yield f"event: {'judged' if judged != newest else 'beat'}\ndata: {judged}\n\n"
            newest = judged
            await self._next(house, newest)

    async def _next(self, house: AppContext, newest: int) -> None:
        """Wait for the next judgement, the next beat, or the end."""
        waiting = {
            asyncio.create_task(_judged(house, newest)),
            asyncio.create_task(self._closing.wait()),
        }
        try:
            await asyncio.wait(waiting, timeout=BEAT_S, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in waiting:
                task.cancel()
            await asyncio.gather(*waiting, return_exceptions=True)


async def _judged(house: AppContext, newest: int) -> None:
    watch = house.watch
    async with watch.changed:
        await watch.changed.wait_for(lambda: watch.judged != newest)


def router(house: AppContext, streams: Streams) -> APIRouter:
    """Route of the stream."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/live")
    async def live(
        request: Request,
        visitor: Visitor = Depends(house.door.looker),  # noqa: B008
    ) -> StreamingResponse:
        return StreamingResponse(
            streams.of(house, request, visitor.session),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    return routes
