"""The pages' stream of events: one whenever the watch has judged, a beat in between."""

from collections.abc import AsyncIterator

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse

from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.streams import HEADERS, Streams, event

BEAT_S = 10.0
_RETRY_MS, _RETRY_FULL_MS = 2000, 15_000
MOST_OF_ONE, MOST_STREAMS = 8, 80
"""Streams open at once: of one device, a page each, and in all."""


async def events_of(
    streams: Streams, context: AppContext, request: Request, session: int | None
) -> AsyncIterator[str]:
    """Yield events until the device goes, is put out, or the server stops.

    A device with too many of them is asked to come back later: its page says how old it is.
    """
    with streams.room(session) as there_is_room:
        if not there_is_room:
            yield f"retry: {_RETRY_FULL_MS}\n\n"
            return
        yield f"retry: {_RETRY_MS}\n\n"
        newest = -1
        while not streams.closing:
            # In a thread: the file of sessions may be slow.
            if (await run_in_threadpool(context.auth.visitor, request)).user is None:
                yield event("out", "")
                return
            judged = context.watch.judged
            yield event("judged" if judged != newest else "beat", str(judged))
            newest = judged
            await streams.next(context.watch, newest, BEAT_S)


def router(context: AppContext, streams: Streams) -> APIRouter:
    """Route of the stream."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/live")
    async def live(
        request: Request,
        visitor: Visitor = Depends(context.auth.looker),  # noqa: B008
    ) -> StreamingResponse:
        return StreamingResponse(
            events_of(streams, context, request, visitor.session),
            media_type="text/event-stream",
            headers=HEADERS,
        )

    return routes
