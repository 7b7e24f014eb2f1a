"""A stream of server-sent events: one whenever the watch has judged, a beat in between."""

import asyncio
from collections.abc import AsyncIterator

from fastapi import APIRouter, Depends, Request
from fastapi.responses import StreamingResponse

from watcher.web.door import Visitor
from watcher.web.house import House

BEAT_S = 10.0
_RETRY_MS = 2000


class Streams:
    """The open streams. ``close`` ends them, so that the server need not wait for their phones."""

    def __init__(self) -> None:
        self._closing = asyncio.Event()

    def close(self) -> None:
        self._closing.set()

    async def of(self, house: House, request: Request) -> AsyncIterator[str]:
        """Yield events until the device goes, is put out, or the server stops."""
        yield f"retry: {_RETRY_MS}\n\n"
        told = -1
        while not self._closing.is_set():
            if house.door.visitor(request).user is None:
                yield "event: out\ndata:\n\n"
                return
            judged = house.watch.judged
            yield f"event: {'judged' if judged != told else 'beat'}\ndata: {judged}\n\n"
            told = judged
            await self._next(house, told)

    async def _next(self, house: House, told: int) -> None:
        """Wait for the next judgement, the next beat, or the end."""
        waiting = {
            asyncio.create_task(_judged(house, told)),
            asyncio.create_task(self._closing.wait()),
        }
        try:
            await asyncio.wait(waiting, timeout=BEAT_S, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in waiting:
                task.cancel()
            await asyncio.gather(*waiting, return_exceptions=True)


async def _judged(house: House, told: int) -> None:
    watch = house.watch
    async with watch.changed:
        await watch.changed.wait_for(lambda: watch.judged != told)


def router(house: House, streams: Streams) -> APIRouter:
    """Route of the stream."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/live")
    async def live(
        request: Request,
        _visitor: Visitor = Depends(house.door.looker),  # noqa: B008
    ) -> StreamingResponse:
        return StreamingResponse(
            streams.of(house, request),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    return routes
