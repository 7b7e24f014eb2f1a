"""The application behind the HTTP port."""

import contextlib
from collections.abc import AsyncIterator, Mapping
from dataclasses import asdict, dataclass, field

from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import SecretStr
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from watcher.alerts.acknowledgement import Links
from watcher.service.watch import Watch
from watcher.service.wiring import station_sites
from watcher.store.errors import LogError
from watcher.store.jobs import UnknownJobError
from watcher.web import (
    api,
    api_records,
    doors,
    live,
    metrics,
    pages_fields,
    pages_jobs,
    pages_log,
    pages_now,
    pages_records,
    readings,
    seen,
    static_files,
)
from watcher.web.access import Access
from watcher.web.door import Door, NotAllowedError, NotLoggedInError
from watcher.web.guard import Guard
from watcher.web.house import House, NothingJudgedError
from watcher.web.keyring import Keyring
from watcher.web.push import BadSubscriptionError, Pusher

_COMPRESSED_FROM_BYTES = 600
_PAGES_AT_ONCE = 6
"""Threads that make pages: each keeps some memory, and a farm has few phones."""


@dataclass(frozen=True)
class Keys:
    """What opens the port: stations' tokens by source, people and programs, the open sessions."""

    keyring: Keyring
    stations: Mapping[str, SecretStr] = field(default_factory=dict)
    access: Access = field(default_factory=Access)
    links: Links | None = None
    """Reads the links by which alerts are acknowledged; None where none are sent."""
    contact: str = ""
    """Whom a push service may write to."""
    push_anywhere: bool = False


def create_app(watch: Watch, keys: Keys) -> FastAPI:
    """Build the application around a running watch."""
    door = Door(keys.keyring, keys.access, watch.clock)
    pusher = Pusher(watch, keys.keyring, keys.contact, anywhere=keys.push_anywhere)
    house = House(watch, door, pusher)
    streams = live.Streams()

    @contextlib.asynccontextmanager
    async def while_open(_app: FastAPI) -> AsyncIterator[None]:
        current_default_thread_limiter().total_tokens = _PAGES_AT_ONCE
        async with pusher.running():
            yield

    app = FastAPI(
        title="Field weather watch",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=while_open,
    )
    app.state.streams = streams
    app.add_middleware(GZipMiddleware, minimum_size=_COMPRESSED_FROM_BYTES)
    app.add_middleware(Guard)
    app.include_router(readings.router(watch, station_sites(house.farm), keys.stations))
    for routes in (
        doors.router(house),
        pages_now.router(house),
        pages_fields.router(house),
        pages_jobs.router(house),
        pages_log.router(house),
        pages_records.router(house),
        live.router(house, streams),
        api.router(house),
        api.jobs_router(house),
        api_records.router(house),
        metrics.router(house),
        static_files.router(house.farm.told.farm.name),
    ):
        app.include_router(routes)
    if keys.links is not None:
        app.include_router(seen.router(house, keys.links))

    @app.get("/health", include_in_schema=False)
    async def health() -> JSONResponse:
        """Say how the watch is and what is stale; 503 as soon as something is not well."""
        found = await watch.health()
        told = found.as_json()
        # Anybody may ask this: what a source's error said is for those who are let in.
        told["sources"] = [
            {k: v for k, v in asdict(s).items() if k != "why"} for s in found.sources
        ]
        return JSONResponse(told, status_code=200 if found.well else 503)

    _answer_errors(app, house)
    return app


def _answer_errors(app: FastAPI, house: House) -> None:
    """Say what went wrong, to people as a page and to programs as JSON, and nothing secret."""

    def say(request: Request, status: int, wrong: str) -> Response:
        if _wants_json(request):
            return JSONResponse({"wrong": wrong}, status_code=status)
        visitor = house.door.visitor(request)
        return house.show(request, visitor, "problem.html", status=status, wrong=wrong, back=False)

    @app.exception_handler(NotLoggedInError)
    def stranger(request: Request, _error: NotLoggedInError) -> Response:
        if _wants_json(request) or request.method != "GET":
            wrong = "nobody is logged in; send Authorization: Bearer TOKEN, or log in"
            answer = say(request, 401, wrong)
            answer.headers["WWW-Authenticate"] = "Bearer"
            return answer
        to = "" if request.url.path == "/" else f"?next={request.url.path}"
        return RedirectResponse(f"/login{to}", 303)

    @app.exception_handler(NotAllowedError)
    def not_allowed(request: Request, error: NotAllowedError) -> Response:
        return say(request, 403, str(error))

    @app.exception_handler(UnknownJobError)
    def no_such_job(request: Request, error: UnknownJobError) -> Response:
        return say(request, 404, str(error))

    @app.exception_handler(BadSubscriptionError)
    def bad_subscription(request: Request, error: BadSubscriptionError) -> Response:
        return say(request, 422, str(error))

    @app.exception_handler(NothingJudgedError)
    def not_judged(request: Request, _error: NothingJudgedError) -> Response:
        return say(request, 503, "the watch has only just started and has not judged yet")

    @app.exception_handler(LogError)
    def log_unusable(request: Request, _error: LogError) -> Response:
        # Anybody may ask: where the log is and what is wrong with it is for the one who runs it.
        return say(request, 503, "the watch cannot use its log just now; nothing was changed")

    @app.exception_handler(RequestValidationError)
    def not_understood(request: Request, error: RequestValidationError) -> Response:
        found = error.errors()[0]
        where = ".".join(str(part) for part in found["loc"])
        return say(request, 422, f"{where}: {found['msg']}")

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: HTTPException) -> Response:
        answer = say(request, error.status_code, str(error.detail))
        answer.headers.update(error.headers or {})
        return answer


def _wants_json(request: Request) -> bool:
    path = request.url.path
    return path.startswith(("/api/", "/stations/", "/metrics", "/health", "/live"))
