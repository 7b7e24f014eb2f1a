"""The screen of the station, which may post already: what came last is what is looked at."""

from collections.abc import Mapping, Sequence

from fastapi import APIRouter, Header, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from watcher.farm.problems import Problem
from watcher.web.api.readings import bounded_body, knows
from watcher.web.first_visit import screens
from watcher.web.first_visit.visit import FirstVisit
from watcher.web.pages.farm_form import AtFaultError
from watcher.web.pages.station_form import MOST_BYTES, StationForm, Understood, digest, pasted

_YARD = "yard"


def router(visit: FirstVisit) -> APIRouter:
    """Routes of the screen, and of the station that tries its line."""
    routes = APIRouter()
    step = screens.BY_KEY["station"]

    def station_form() -> StationForm:
        return StationForm(_name(visit), visit.farm.texts, visit.auth.clock.now())

    def show(
        request: Request,
        form: Mapping[str, str],
        found: Understood | None = None,
        problems: Sequence[Problem] = (),
    ) -> Response:
        name, body = _name(visit), _body(visit, form)
        return visit.show(
            request,
            "first_station.html",
            422 if problems else 200,
            step=step,
            known=name in visit.farm.raw.get("sources", {}),
            heard=name in visit.heard,
            line=f"{_reached_at(visit, request)}/stations/{name}/readings",
            token=None if name in visit.tokens_in_settings else visit.tokens.get(name),
            **station_form().shown(body, form, found, problems),
            **screens.posts(step),
        )

    @routes.get("/first/station")
    def station(request: Request) -> Response:
        visit.owner(request)
        return show(request, {})

    @routes.post("/first/station")
    async def enter(request: Request) -> Response:
        form = await visit.auth.form(
            request, visit.owner(request), long=True, most_bytes=MOST_BYTES
        )
        name, body, asked = _name(visit), _body(visit, form), station_form()
        if form.get("later") or (not body and name in visit.farm.raw.get("sources", {})):
            return RedirectResponse(screens.after(visit.farm, step), 303)
        found: Understood | None = None
        try:
            found = asked.understood(body, form)
            if found.problems:
                return show(request, form, found, found.problems)
            if form.get("look") or form.get("looked") != digest(body):
                return show(request, form, found)
            edits = asked.edits(found, form)
            texts = screens.checked(visit.farm, "station", edits, asked.places)
        except AtFaultError as error:
            return show(request, form, found, error.problems)
        visit.farm.keep(texts)
        return RedirectResponse(screens.after(visit.farm, step), 303)

    @routes.post("/stations/{name}/readings")
    async def hear(name: str, request: Request, authorization: str = Header("")) -> Response:
        if name != _name(visit) or not knows(visit.tokens.get(name), authorization):
            wrong = "no station has this token; send Authorization: Bearer TOKEN"
            return JSONResponse({"wrong": wrong}, 401)
        body = await bounded_body(request)
        if not body:
            return JSONResponse({"wrong": "nothing came, or too much at once"}, 422)
        visit.heard[name] = body.strip().replace(b"\r\n", b"\n")
        return JSONResponse({"taken": 0, "says": "it is shown on the first visit's page"}, 202)

    return routes


def _name(visit: FirstVisit) -> str:
    """What the station is called: as its token in the settings is, where there is one."""
    return next(iter(sorted(visit.tokens_in_settings)), _YARD)


def _body(visit: FirstVisit, form: Mapping[str, str]) -> bytes:
    """What was pasted, else what came last."""
    return pasted(form) or visit.heard.get(_name(visit), b"")


def _reached_at(visit: FirstVisit, request: Request) -> str:
    if visit.address:
        return visit.address
    host, port = request.scope.get("server") or ("127.0.0.1", None)
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}" if port is None else f"http://{shown}:{port}"
