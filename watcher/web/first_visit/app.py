"""The application of the first visit: one link lets one device in, screens ask, a farm is written.

It runs in place of the watch while there is no farm file, on the same port, and ends with it.
"""

import asyncio
from typing import Any

from fastapi import FastAPI, HTTPException, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from starlette.middleware.gzip import GZipMiddleware

from watcher.farm.geometry.importing import typed_place
from watcher.i18n.message import say
from watcher.web import map_tiles
from watcher.web.auth.authenticator import NotAllowedError, NotLoggedInError
from watcher.web.auth.security import SecurityMiddleware
from watcher.web.first_visit import device, drawing, end, phone, place, screens, station
from watcher.web.first_visit.screens import Screen
from watcher.web.first_visit.visit import FirstVisit, language_of
from watcher.web.pages.farm_form import AtFaultError, Typed, elsewhere, of_mistakes, rows
from watcher.web.renderer import STATIC
from watcher.web.static_files import A_YEAR, worker_script
from watcher.web.subscribing import BadSubscriptionError

_STATIC = {
    "page.css": "text/css",
    "page.js": "text/javascript",
    "first.js": "text/javascript",
    "map.js": "text/javascript",
    "push.js": "text/javascript",
    "starts.js": "text/javascript",
    "icon.svg": "image/svg+xml",
    "land.svg": "image/svg+xml",
}
_MOST_BYTES = 280_000
"""A file of boundaries, as a form packs it: as much as the port takes at once."""


def create_first_visit(visit: FirstVisit) -> FastAPI:  # noqa: PLR0915  # its routes
    """Build the application."""
    app = FastAPI(
        docs_url=None, redoc_url=None, openapi_url=None, lifespan=drawing.while_open(visit.tiles)
    )
    app.add_middleware(GZipMiddleware, minimum_size=600)
    app.add_middleware(SecurityMiddleware)
    show, owner = visit.show, visit.owner
    pictures = visit.tiles.pictures if visit.tiles else None
    app.include_router(station.router(visit))
    app.include_router(phone.router(visit))
    app.include_router(device.router(visit))
    app.include_router(place.router(visit.farm, visit.auth, language_of))
    app.include_router(drawing.router(visit.farm, visit.auth, pictures, language_of, show))
    app.include_router(map_tiles.router(visit.tiles, visit.auth.administrator))

    @app.get("/login/{link}")
    def ask_by_link(request: Request, link: str) -> Response:
        return show(request, "first_link.html", link=link, wrong=False)

    @app.post("/login/{link}")
    async def enter_by_link(request: Request, link: str) -> Response:
        await visit.auth.form(request, visit.auth.visitor(request))
        now = visit.auth.clock.now()
        user = await asyncio.to_thread(visit.auth.sessions.use_link, link, now)
        if user is None:
            return show(request, "first_link.html", 403, link=link, wrong=True)
        token = await asyncio.to_thread(visit.auth.sessions.open, user, now, by_link=True)
        answer = RedirectResponse("/first", 303)
        visit.auth.enter(request, answer, token)
        return answer

    @app.get("/")
    def begin() -> Response:
        return RedirectResponse("/first", 303)

    @app.get("/first")
    def next_screen(request: Request) -> Response:
        owner(request)
        if not visit.farm.raw:
            return RedirectResponse("/first/place", 303)
        return show(request, "first_end.html", **end.shown(visit))

    @app.get("/first/here")
    def here() -> Response:
        """Answer that the watch is reached, before a page with all that was typed is sent."""
        return Response(status_code=204)

    @app.get("/first/{key}")
    def screen(request: Request, key: str, field: str = "") -> Response:
        owner(request)
        return show(request, "first_step.html", **_screen(visit, request, _step(key), field))

    @app.post("/first/start")
    async def start(request: Request) -> Response:
        visitor = owner(request)
        await visit.auth.form(request, visitor)
        found = await asyncio.to_thread(end.missing, visit)
        if found:
            return RedirectResponse("/first", 303)
        try:
            await asyncio.to_thread(visit.farm.write)
        except OSError as error:
            wrong = say(
                "{file} cannot be written ({why}): let the watch write there",
                file=str(visit.farm.file),
                why=str(error.strerror),
            )
            return show(request, "first_end.html", 500, **(end.shown(visit) | {"trouble": wrong}))
        visit.by = visitor.user.name if visitor.user else ""
        visit.written.set()
        return show(request, "first_starts.html")

    @app.post("/first/{key}")
    async def entered(request: Request, key: str, field: str = "") -> Response:
        step = _step(key)
        form = await visit.auth.form(request, owner(request), long=True, most_bytes=_MOST_BYTES)
        farm = visit.farm
        if form.get("later"):
            return RedirectResponse(screens.after(visit.farm, step, field), 303)
        try:
            _check_field(visit, step, field)
            asked = screens.fields_of(step.key, farm, field)
            found = screens.edits_of(step.key, farm, form, field)
            texts = await asyncio.to_thread(screens.checked, farm, step.key, found, asked)
        except AtFaultError as error:
            typed = Typed(form, error.problems)
            return show(
                request, "first_step.html", 422, **_screen(visit, request, step, field, typed)
            )
        at = typed_place(form.get("place", "")) if step.key == "place" else None
        await asyncio.to_thread(farm.keep, texts, at)
        return RedirectResponse(screens.after(visit.farm, step, field), 303)

    @app.get("/static/{file}")
    def static(file: str) -> Response:
        if file not in _STATIC:
            raise HTTPException(404, "there is no such file")
        return Response((STATIC / file).read_bytes(), media_type=_STATIC[file], headers=A_YEAR)

    @app.get("/worker.js")
    def worker(request: Request) -> Response:
        return worker_script(language_of(request))

    @app.get("/health")
    def health() -> JSONResponse:
        return JSONResponse({"well": False, "first_visit": True}, 503)

    @app.exception_handler(NotLoggedInError)
    def stranger(request: Request, _error: NotLoggedInError) -> Response:
        return show(request, "first_stranger.html", 401, wrong="")

    @app.exception_handler(NotAllowedError)
    def not_allowed(request: Request, error: NotAllowedError) -> Response:
        return show(request, "first_stranger.html", 403, wrong=str(error))

    @app.exception_handler(BadSubscriptionError)
    def no_subscription(request: Request, error: BadSubscriptionError) -> Response:
        return show(request, "first_problem.html", 422, wrong=error.wrong)

    return app


def _step(key: str) -> Screen:
    if key not in screens.BY_KEY:
        raise HTTPException(404, "there is no such screen")
    return screens.BY_KEY[key]


def _check_field(visit: FirstVisit, step: Screen, field: str) -> None:
    if step.key == "sides" and field not in visit.farm.raw.get("fields", {}):
        raise HTTPException(404, "no field has this name")


def _screen(
    visit: FirstVisit, request: Request, step: Screen, field: str, typed: Typed | None = None
) -> dict[str, Any]:
    _check_field(visit, step, field)
    farm = visit.farm
    fields = screens.fields_of(step.key, farm, field)
    spoken = request.headers.get("accept-language", "")
    found = rows(fields, farm.texts, typed)
    if step.key == "place" and typed is None:
        found = place.suggested(farm, found, spoken)
    problems = typed.problems if typed else ()
    pictures = visit.tiles.pictures if visit.tiles else None
    overlap = any(p.mend == screens.OVERLAP_MEND for p in problems)
    return {
        "step": step,
        "says": screens.says(step, farm),
        **screens.posts(step),
        "rows": found,
        "field": field,
        "wrong": of_mistakes(elsewhere(fields, problems)),
        "refused": bool(problems),
        "editor": place.editor(farm, place.system_of(farm, spoken), pictures)
        if step.key == "place"
        else drawing.editor(farm, pictures, asks_overlap=overlap),
        "attribution": pictures.attribution if pictures else "",
    }
