"""How many requests are answered at once: of each kind a few, a bounded queue, the rest refused.

What the watch does shares the interpreter with the pages. A flood of pages must neither keep a
judgement waiting nor queue without end, so each kind of request has a lane of its own: a station's
post and an acknowledgement never wait behind a page. In a lane one sender's requests take turns
with the others', so that who asks much waits longest.
"""

import asyncio
from collections import OrderedDict, deque
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from watcher.addresses import sender
from watcher.web.log_throttle import LogThrottle
from watcher.web.problem import problem

RETRY_AFTER_S = 2
MOST_FORM_BYTES = 64 * 1024
"""What a page's form or a program's JSON may have."""
MOST_ARCHIVE_BYTES = 290_000
"""What a farm may have that is read in over the port; of a larger one the command reads."""
_HELD_S = 1.0
"""A refusal is held back so long: who asks again at once costs no more than who waits."""
_READS = {"GET", "HEAD", "OPTIONS"}
_STEPS = ("/jobs", "/api/v1/jobs", "/api/v1/messages", "/plan", "/api/v1/plan")
_OUTSIDE = {"/live", "/health", "/api/v1/events"}
_FILES = (
    "/api/v1/log.csv",
    "/api/v1/farm/export.zip",
    "/farm/export.zip",
    "/api/v1/records",
    "/api/v1/incidents",
    "/api/v1/season",
    "/skill",
)
_ARCHIVES = "/api/v1/farm/import"
_ARCHIVE_PAGE = "/farm/read-in"
"""Answers a file that is too long itself, in place."""
_TOO_LONG = "watcher.too_long"


def is_too_long(scope: Scope) -> bool:
    """Whether the body of a request was too long to be taken; it is empty then."""
    return bool(scope.get(_TOO_LONG))


class FullError(Exception):
    """A lane and its queue are full."""


@dataclass
class Lane:
    """Requests of one kind: so many at once, so many waiting in all and of one sender."""

    at_once: int
    waiting: int
    of_one: int
    _busy: int = field(default=0, init=False)
    _queues: OrderedDict[str, deque[asyncio.Future[None]]] = field(
        default_factory=OrderedDict, init=False
    )
    """Who waits, by sender; the sender at the front is next."""

    @asynccontextmanager
    async def turn(self, who: str) -> AsyncIterator[None]:
        """Wait for a turn, and have it while the block runs. Raises FullError."""
        if self._busy >= self.at_once:
            await self._wait(who)
        else:
            self._busy += 1
        try:
            yield
        finally:
            self._next()

    async def _wait(self, who: str) -> None:
        queue = self._queues.get(who, deque())
        if len(queue) >= self.of_one or sum(map(len, self._queues.values())) >= self.waiting:
            raise FullError
        turn: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        queue.append(turn)
        self._queues.setdefault(who, queue)
        try:
            await turn
        except asyncio.CancelledError:
            if turn.done() and not turn.cancelled():
                self._next()  # it was this one's turn already
            raise

    def _next(self) -> None:
        """Hand the turn on, to the sender whose last turn is longest ago."""
        while self._queues:
            who, queue = self._queues.popitem(last=False)
            turn = queue.popleft()
            if queue:
                self._queues[who] = queue
            if not turn.done():
                turn.set_result(None)
                return
        self._busy -= 1


class Lanes:
    """Sends every request through the lane of its kind."""

    def __init__(self, app: ASGIApp, *, held_s: float = _HELD_S) -> None:
        self.app = app
        self._held_s = held_s
        self._throttled = LogThrottle()
        # More pages at once are no faster: they share one interpreter, with the watch as well.
        self.pages = Lane(at_once=2, waiting=80, of_one=40)
        self.steps = Lane(at_once=2, waiting=60, of_one=20)
        """Acknowledgements, and the steps of jobs."""
        self.log_ins = Lane(at_once=1, waiting=40, of_one=8)
        """A passphrase takes a processor and memory to check."""
        self.files = Lane(at_once=2, waiting=16, of_one=8)
        """Long answers, which last as long as their reader likes."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        lane = self._lane(scope["method"], scope["path"]) if scope["type"] == "http" else None
        if lane is None:
            await self.app(scope, receive, send)
            return
        if scope["method"] not in _READS:
            # Before its turn: who sends slowly waits at their own cost.
            path, most = scope["path"], MOST_FORM_BYTES
            if path in {_ARCHIVES, _ARCHIVE_PAGE}:
                most = MOST_ARCHIVE_BYTES
            body = await _read(receive, most, to_the_end=path == _ARCHIVE_PAGE)
            if body is None and path == _ARCHIVE_PAGE:
                body, scope[_TOO_LONG] = b"", True
            if body is None:
                wrong = f"the body is over {most} bytes"
                await problem(413, wrong)(scope, receive, send)
                return
            receive = _replayed(body, receive)
        client = scope.get("client")
        try:
            async with lane.turn(sender(client[0]) if client else ""):
                await self.app(scope, receive, send)
        except FullError:
            self._throttled.warn("requests refused", "too many at once")
            await asyncio.sleep(self._held_s)
            wrong = f"too much is asked for at once; try again in {RETRY_AFTER_S} s"
            headers = {"Retry-After": str(RETRY_AFTER_S)}
            await problem(503, wrong, headers=headers)(scope, receive, send)

    def _lane(self, method: str, path: str) -> Lane | None:
        """The lane of a request; None for what is bounded where it is answered."""
        if path.startswith(("/stations/", "/api/v1/stations/", "/map/tiles/")) or path in _OUTSIDE:
            return None
        if path == "/login" and method not in _READS:
            return self.log_ins
        if path.startswith(("/seen/", "/login/")):
            return self.steps
        if method not in _READS and path.startswith(_STEPS):
            return self.steps
        if path.startswith(_FILES):
            return self.files
        return self.pages


async def _read(receive: Receive, most: int, *, to_the_end: bool) -> bytes | None:
    """The whole body of a request; None for one that is too long. Raises ClientDisconnect.

    A browser that still sends sees no answer: ``to_the_end`` lets go what is too much.
    """
    body, is_over = bytearray(), False
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise ClientDisconnect
        if not is_over:
            body += message.get("body", b"")
        is_over = is_over or len(body) > most
        if is_over and not to_the_end:
            return None
        if not message.get("more_body", False):
            return None if is_over else bytes(body)


def _replayed(body: bytes, receive: Receive) -> Receive:
    """A request's messages with its body first, and at once."""
    answered = False

    async def again() -> Message:
        nonlocal answered
        if answered:
            return await receive()
        answered = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again
