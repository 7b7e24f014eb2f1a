"""The stream of events for programs: what was judged, begun, ended, done and delivered."""

import contextlib
import json
from collections import OrderedDict
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Depends, Header, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse
from sqlalchemy.orm import Session

from watcher.service.happenings import Happening, Place, since
from watcher.store.errors import LogError
from watcher.web.api.endpoints import API, answers
from watcher.web.auth.authenticator import NotLoggedInError
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.problem import problem
from watcher.web.streams import HEADERS, Streams, event

MOST_OF_ONE, MOST_STREAMS = 4, 20
"""Streams open at once: of one program, and in all."""
LOOK_S = 2.0
"""What happens between two judgements is sent within so long."""
_BEAT_LOOKS = 5
_RETRY_MS = 3000
_RETRY_AFTER_S = 15
_REMEMBERED = 2000


class ProgramListener:
    """One program that listens: up to where it has heard, and what of the last seconds."""

    def __init__(self, context: AppContext, place: Place | None) -> None:
        """``place`` is up to where it heard before; None for who wants to hear from now on."""
        self._context, self._place = context, place
        self._sent: OrderedDict[str, None] = OrderedDict()
        self.judged = -1

    def new_events(self) -> list[str]:
        """Return what is to be said now, as events. Blocking: it reads the log."""
        watch, said = self._context.watch, []
        now, judged, judged_at = watch.clock.now(), watch.judged, watch.judged_at
        # What happens while the log cannot be read is sent once it can be.
        with contextlib.suppress(LogError), watch.transactions.store.reading() as session:
            said = self._happened(session, now)
        if judged != self.judged:
            self.judged = judged
            content = {"judged": judged, "at": judged_at}
            said.append(event("judged", json.dumps(content), self._number))
        return said

    @property
    def _number(self) -> str:
        return "" if self._place is None else str(self._place)

    def _happened(self, session: Session, now: int) -> list[str]:
        found = None if self._place is None else since(session, self._place, now)
        if found is not None:
            self._place, happened = found
            return [
                event(one.what, json.dumps(dict(one.content), ensure_ascii=False), self._number)
                for one in self._new(happened)
            ]
        missed, self._place = self._place is not None, Place.now(session, now)
        here = since(session, self._place, now)  # what was so already is no news
        self._new([] if here is None else here[1])
        return [event("missed", "{}", self._number)] if missed else []

    def _new(self, happened: list[Happening]) -> list[Happening]:
        new = [one for one in happened if one.key not in self._sent]
        self._sent.update(dict.fromkeys(one.key for one in new))
        while len(self._sent) > _REMEMBERED:
            self._sent.popitem(last=False)
        return new


async def events_for_program(
    streams: Streams, context: AppContext, request: Request, who: str, place: Place | None
) -> AsyncIterator[str]:
    """Yield events until the program goes, its token is withdrawn, or the server stops."""
    with streams.room(who) as there_is_room:
        if not there_is_room:  # two came in at once
            yield f"retry: {_RETRY_AFTER_S * 1000}\n\n"
            return
        yield f"retry: {_RETRY_MS}\n\n"
        listener, silent = ProgramListener(context, place), 0
        while not streams.closing:
            try:
                await run_in_threadpool(context.auth.api_looker, request)
            except NotLoggedInError:
                yield event("out", "{}")
                return
            said = await run_in_threadpool(listener.new_events)
            silent = 0 if said else silent + 1
            for one in said:
                yield one
            if silent == _BEAT_LOOKS:
                silent = 0
                yield ": beat\n\n"
            await streams.next(context.watch, listener.judged, LOOK_S)


def router(context: AppContext, streams: Streams) -> APIRouter:
    """Route of the stream."""
    routes = APIRouter(prefix="/api/v1", tags=["events"], **API)

    @routes.get(
        "/events",
        response_class=StreamingResponse,
        responses=answers(401, 422, 429)
        | {200: {"content": {"text/event-stream": {"schema": {"type": "string"}}}}},
    )
    def events(
        request: Request,
        last_event_id: Annotated[
            str | None,
            Header(max_length=60, description="The id of the last event that was heard"),
        ] = None,
        user: User = Depends(context.auth.api_looker),  # noqa: B008
    ) -> Response:
        """What happens, as server-sent events, until the token is withdrawn.

        ``judged`` after each judgement; ``begun`` and ``ended`` of a condition that is said;
        ``step`` of a job; ``delivered`` of a message. A comment is sent where nothing happens. With
        ``Last-Event-ID`` all of the last day since then is sent first, some of it perhaps twice;
        ``missed`` says that it was too long ago, and that all is to be read anew. ``out`` says that
        the token counts no longer.
        """
        if streams.full(user.name):
            wrong = f"there are {MOST_OF_ONE} streams of one program at most; close one of them"
            return problem(429, wrong, headers={"Retry-After": str(_RETRY_AFTER_S)})
        place = None
        if last_event_id is not None and (place := Place.of(last_event_id)) is None:
            place = Place(0, 0)  # not ours: it has missed what there was
        return StreamingResponse(
            events_for_program(streams, context, request, user.name, place),
            media_type="text/event-stream",
            headers=HEADERS,
        )

    return routes
