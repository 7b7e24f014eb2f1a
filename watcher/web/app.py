"""The application behind the HTTP port."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass, field

from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from watcher.delivery.acknowledgement import Links
from watcher.delivery.web_push import WebPush
from watcher.farm import Farm
from watcher.farm.problems import FarmFileError
from watcher.i18n.message import Param, joined, say
from watcher.jobs.commands import BadStepError
from watcher.service.health import Health
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.service.secrets_in_use import SecretsInUse
from watcher.service.source_factory import PostingStation, posting_stations
from watcher.service.watch import Watch
from watcher.sources.tiles import TileClient
from watcher.store.errors import LogError, UnknownJobError
from watcher.web import calendar_feed, map_tiles, static_files
from watcher.web.api import (
    endpoints,
    farm_whole,
    geojson,
    incidents,
    messages,
    metrics,
    plan_api,
    readings,
    record_export,
    record_values,
    season,
    weather,
)
from watcher.web.api import events as program_events
from watcher.web.api import farm as farm_api
from watcher.web.api import secrets as secrets_api
from watcher.web.api.description import OPENAPI_URL, describe
from watcher.web.api.models import HealthSchema
from watcher.web.auth import login_pages
from watcher.web.auth.authenticator import (
    AccessEndedError,
    Authenticator,
    NotAllowedError,
    NotLoggedInError,
    TokenEndedError,
)
from watcher.web.auth.security import SecurityMiddleware
from watcher.web.auth.sessions import SessionStore, SessionStoreError
from watcher.web.auth.station_tokens import StationTokens
from watcher.web.auth.users import Users
from watcher.web.context import AppContext, NothingJudgedError
from watcher.web.lanes import Lanes
from watcher.web.log_throttle import LogThrottle
from watcher.web.pages import (
    acknowledge,
    events,
    farm,
    farm_feed,
    farm_map,
    farm_neighbours,
    farm_read_in,
    farm_rules,
    farm_station,
    farm_tables,
    field_edit,
    fields,
    hours,
    jobs,
    log,
    now,
    people,
    plan,
    pushes,
    recipients,
    records,
    skill,
    source_secrets,
)
from watcher.web.pages import incidents as incident_pages
from watcher.web.pages import season as season_pages
from watcher.web.pages.farm_form import of_mistakes
from watcher.web.problem import problem
from watcher.web.streams import Streams
from watcher.web.subscribing import BadSubscriptionError

_COMPRESSED_FROM_BYTES = 600
_MOST_MISTAKES = 20
_THREADS = 8
"""One for each that the lanes let in at once, and one: each keeps some memory."""
_NO_SESSIONS = (
    "the watch cannot use its file of sessions just now, so nobody can log in or out and no link "
    "can be made; free space on its disk, or see the log of the service. Fields are judged and "
    "alerts sent as before"
)


@dataclass(frozen=True)
class Keys:
    """What opens the port: secrets of stations, people and programs, the open sessions."""

    sessions: SessionStore
    secrets: Secrets = field(default_factory=Secrets)
    access: Users = field(default_factory=Users)
    links: Links | None = None
    """Reads the links by which alerts are acknowledged; None where none are sent."""
    calendars: Links | None = None
    """Makes and reads the addresses at which calendars read the plan; None where none are made."""
    pushes: WebPush | None = None
    """The way to devices; None where there is no contact that push services ask for."""
    address: str = ""
    """Where the pages are reached from outside; empty where not set."""
    tiles: TileClient | None = None
    """Fetches pictures of the ground; None where none are set."""


def create_app(watch: Watch, keys: Keys) -> FastAPI:
    """Build the application around a running watch."""
    auth = Authenticator(keys.sessions, keys.access, watch.clock)
    pictures = keys.tiles.pictures if keys.tiles else None
    secrets = SecretsInUse(watch, keys.secrets)
    context = AppContext(watch, auth, keys.pushes, secrets, keys.address, pictures)
    streams = Streams(of_one=events.MOST_OF_ONE, in_all=events.MOST_STREAMS)
    listened = Streams(of_one=program_events.MOST_OF_ONE, in_all=program_events.MOST_STREAMS)

    @contextlib.asynccontextmanager
    async def while_open(_app: FastAPI) -> AsyncIterator[None]:
        current_default_thread_limiter().total_tokens = _THREADS
        async with keys.tiles or contextlib.nullcontext():
            yield

    app = FastAPI(
        title="Field weather watch",
        docs_url=None,
        redoc_url=None,
        openapi_url=OPENAPI_URL,
        lifespan=while_open,
    )
    app.state.streams, app.state.secrets_in_use = (streams, listened), secrets
    app.add_middleware(GZipMiddleware, minimum_size=_COMPRESSED_FROM_BYTES)
    app.add_middleware(Lanes)
    app.add_middleware(SecurityMiddleware)
    tokens = StationTokens(keys.secrets.all_of(SecretKind.STATION), keys.sessions)
    # Each router's routes as they are: what includes a router makes every route a second time,
    # which took 0.1 s and 4 MiB, and half of the time to find one.
    for routes in (
        readings.router(watch, _PostingStations(watch), tokens),
        login_pages.router(context),
        pushes.router(context),
        pushes.answers_router(context),
        now.router(context),
        fields.router(context),
        field_edit.router(context),
        farm.router(context),
        farm_neighbours.router(context),
        farm_read_in.router(context),
        farm_tables.router(context),
        farm_feed.router(context),
        farm_station.router(context),
        farm_map.router(context),
        map_tiles.router(keys.tiles, auth.looker),
        recipients.router(context),
        source_secrets.router(context),
        people.router(context),
        hours.router(context),
        plan.router(context, keys.calendars),
        calendar_feed.router(context, keys.calendars),
        plan_api.router(context),
        skill.router(context),
        jobs.router(context),
        log.router(context),
        records.router(context),
        events.router(context, streams),
        program_events.router(context, listened),
        endpoints.router(context),
        endpoints.jobs_router(context),
        farm_api.router(context),
        farm_whole.router(context),
        geojson.router(context),
        weather.router(context),
        messages.router(context),
        season.router(context),
        season_pages.router(context),
        secrets_api.router(context),
        record_export.router(context),
        record_values.router(context),
        incident_pages.router(context),
        incidents.router(context),
        metrics.router(context),
        farm_rules.router(context),  # last: its addresses are gaps, others of /farm go before
        static_files.router(lambda: context.farm),
    ):
        app.router.routes.extend(routes.routes)
    if keys.links is not None:
        app.router.routes.extend(acknowledge.router(context, keys.links).routes)

    look = _Shared(watch)

    @app.get("/health", include_in_schema=False)
    async def health() -> JSONResponse:
        """Say how the watch is and what is stale; 503 as soon as something is not well."""
        found = await look.health()
        body = HealthSchema.of(found, context.farm.zone).for_anybody()
        return JSONResponse(body, status_code=200 if found.well else 503)

    describe(app)
    _answer_errors(app, context)
    return app


class _PostingStations:
    """The stations that post, of the farm in use: worked out once a farm."""

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self._of: tuple[Farm, Mapping[str, PostingStation]] | None = None

    def __call__(self) -> Mapping[str, PostingStation]:
        farm = self._watch.transactions.plan.farm
        if self._of is None or self._of[0] is not farm:
            self._of = farm, posting_stations(farm)
        return self._of[1]


class _Shared:
    """One look at the watch for all who ask at once: it takes its turn among the judgements."""

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self._looking: asyncio.Task[Health] | None = None

    async def health(self) -> Health:
        """Return how the watch is, or was a moment ago."""
        if self._looking is None or self._looking.done():
            self._looking = asyncio.create_task(self._watch.health())
        return await asyncio.shield(self._looking)


def _answer_errors(app: FastAPI, context: AppContext) -> None:
    """Say what went wrong, to people as a page and to programs as JSON, and nothing secret."""

    def refuse(request: Request, status: int, wrong: Param) -> Response:
        if _wants_json(request):
            return problem(status, str(wrong))
        visitor = context.auth.visitor(request)
        return context.show(
            request, visitor, "problem.html", status=status, wrong=wrong, back=False
        )

    @app.exception_handler(NotLoggedInError)
    def stranger(request: Request, _error: NotLoggedInError) -> Response:
        if _wants_json(request) or request.method != "GET":
            wrong = "nobody is logged in; send Authorization: Bearer TOKEN, or log in"
            answer = refuse(request, 401, wrong)
            answer.headers["WWW-Authenticate"] = "Bearer"
            return answer
        to = "" if request.url.path == "/" else f"?next={request.url.path}"
        return RedirectResponse(f"/login{to}", 303)

    @app.exception_handler(TokenEndedError)
    def token_ended(request: Request, error: TokenEndedError) -> Response:
        wrong = say("this token ended {clock}; ask for another", clock=context.clock(error.at))
        headers = {"WWW-Authenticate": 'Bearer error="invalid_token"'}
        return problem(401, wrong.render(context.language(request)), headers=headers)

    @app.exception_handler(AccessEndedError)
    def ended(request: Request, error: AccessEndedError) -> Response:
        at = context.clock(error.at)
        if _wants_json(request):
            wrong = say("the access of this device ended {clock}", clock=at)
            return problem(403, wrong.render(context.language(request)))
        visitor = context.auth.visitor(request)
        answer = context.show(request, visitor, "ended.html", status=403, at=at)
        # What the device kept for reading offline goes as well.
        answer.headers["Clear-Site-Data"] = '"cache", "storage"'
        return answer

    @app.exception_handler(NotAllowedError)
    def not_allowed(request: Request, error: NotAllowedError) -> Response:
        return refuse(request, 403, str(error))

    @app.exception_handler(UnknownJobError)
    def no_such_job(request: Request, error: UnknownJobError) -> Response:
        return refuse(request, 404, error.text)

    @app.exception_handler(BadStepError)
    def bad_step(request: Request, error: BadStepError) -> Response:
        return refuse(request, 422, str(error))

    @app.exception_handler(BadSubscriptionError)
    def bad_subscription(request: Request, error: BadSubscriptionError) -> Response:
        return refuse(request, 422, error.wrong)

    @app.exception_handler(NothingJudgedError)
    def not_judged(request: Request, _error: NothingJudgedError) -> Response:
        return refuse(request, 503, "the watch has only just started and has not judged yet")

    @app.exception_handler(FarmFileError)
    def farm_unreadable(request: Request, error: FarmFileError) -> Response:
        return refuse(request, 409, joined(of_mistakes(error.problems), "; "))

    @app.exception_handler(LogError)
    def log_unusable(request: Request, _error: LogError) -> Response:
        # Anybody may ask: where the log is and what is wrong with it is for the one who runs it.
        done = "send this again" if _of_station(request) else "nothing was changed"
        return refuse(request, 503, f"the watch cannot use its log just now; {done}")

    throttled = LogThrottle()

    @app.exception_handler(SessionStoreError)
    def sessions_unusable(request: Request, error: SessionStoreError) -> Response:
        throttled.warn("the file of sessions cannot be used", why=str(error))
        return refuse(request, 503, _NO_SESSIONS)

    @app.exception_handler(RequestValidationError)
    def not_understood(request: Request, error: RequestValidationError) -> Response:
        found = [(".".join(map(str, one["loc"])), str(one["msg"])) for one in error.errors()]
        wrong = "{}: {}".format(*found[0])
        if not _wants_json(request):
            return refuse(request, 422, wrong)
        mistakes = [{"where": where, "wrong": what} for where, what in found[:_MOST_MISTAKES]]
        return problem(422, wrong, mistakes=mistakes)

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: HTTPException) -> Response:
        answer = refuse(request, error.status_code, str(error.detail))
        answer.headers.update(error.headers or {})
        return answer


def _wants_json(request: Request) -> bool:
    path = request.url.path
    return path.startswith(("/api/", "/metrics", "/health", "/live")) or _of_station(request)


def _of_station(request: Request) -> bool:
    return request.url.path.startswith(("/stations/", "/api/v1/stations/"))
