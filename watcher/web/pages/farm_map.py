"""The map of the farm: every boundary, drawn anew, drawn for the first time, taken out."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import shapely
from fastapi import APIRouter, Depends, HTTPException, Path, Request, Response
from fastapi.responses import JSONResponse

from watcher.farm import Farm
from watcher.farm.editing.edits import Edit, Remove, RemoveBoundary, SetBoundary, SetValue
from watcher.farm.editing.first_farm import name_for
from watcher.farm.geometry.boundaries import BadShapeError
from watcher.farm.geometry.drawing import Role
from watcher.farm.geometry.importing import typed_corners
from watcher.farm.models import Neighbour, Susceptibility, WeedPressure
from watcher.farm.problems import Problem
from watcher.i18n.message import Message, Name, Param, say
from watcher.messages.drawing import area_line
from watcher.messages.vocabulary import SUSCEPTIBILITY_WORDS, WEED_WORDS
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import in_use
from watcher.web.map_editor import (
    HERE,
    Looked,
    MapEditor,
    look,
    look_answer,
    overlap_lines,
    refused,
)
from watcher.web.pages.farm_change import FarmChangeAsked, by_edits, change
from watcher.web.pages.farm_form import Field, Row, Typed, edits, elsewhere, of_mistakes, rows
from watcher.web.pages.rule_forms import field_of
from watcher.web.svg.below_map import MAP_WIDTH, ruler
from watcher.web.svg.farm_map import farm_map
from watcher.web.svg.ground import kind_of

_BACK = "/farm/map"
_TABLES: dict[Role, str] = {"field": "fields", "neighbour": "neighbours"}
_CORNERS = Field("corners", ("corners",), say("Its corners, one a line"), "long")
_OF_ROLE = Path(pattern="^(field|neighbour)$")
RoleAsked = Annotated[Role, _OF_ROLE]


@dataclass(frozen=True)
class _Boundary:
    """A boundary that is drawn: of a field or neighbour there is, or of a new one."""

    role: Role
    name: str
    is_new: bool
    asked: Sequence[Field] = ()
    """What is asked of a new one besides its corners."""

    @property
    def to(self) -> str:
        """The page it is drawn on."""
        return f"{_BACK}/new/{self.role}" if self.is_new else f"{_BACK}/{self.role}/{self.name}"


def router(context: AppContext) -> APIRouter:
    """Routes of the map."""
    routes = APIRouter(include_in_schema=False)
    looker, owner = Depends(context.auth.looker), Depends(context.auth.administrator)

    @routes.get("/farm/map")
    def whole(request: Request, visitor: Visitor = looker) -> Response:
        farm, system, pictures = context.farm, context.speaker.system, context.pictures
        drawn, metres = farm_map(farm.ground, farm.config.neighbours, system, context.tiles_from)
        return context.show(
            request,
            visitor,
            "farm_map.html",
            map=drawn,
            ruler=ruler(metres, MAP_WIDTH, system),
            attribution=pictures.attribution if pictures else "",
            fields=[(n, area_line(farm.ground.area_m2(n), system)) for n in farm.ground.fields],
            neighbours=[(n, Name(one.grows)) for n, one in farm.config.neighbours.items()],
        )

    @routes.post("/farm/map/look")
    async def looked(request: Request, visitor: Visitor = owner) -> Response:
        form = await context.auth.form(request, visitor, long=True)
        role: Role = "neighbour" if form.get("role") == "neighbour" else "field"
        language = context.language(request)
        try:
            found = look(form.get("corners", ""), form.get("name", ""), role, context.farm.ground)
        except BadShapeError as error:
            return JSONResponse(refused(error, language), 422)
        return JSONResponse(look_answer(found, context.speaker.system, language))

    @routes.get("/farm/map/new/{role}")
    def draws(request: Request, role: RoleAsked, visitor: Visitor = owner) -> Response:
        return _show(context, request, visitor, _new(context.farm, role, ""))

    @routes.post("/farm/map/new/{role}")
    async def drawn_new(request: Request, role: RoleAsked, visitor: Visitor = owner) -> Response:
        form = await context.auth.form(request, visitor, long=True)
        boundary = _new(context.farm, role, form.get("name", ""))
        return await _take(context, request, visitor, boundary, form)

    @routes.get("/farm/map/{role}/{name}")
    def redraws(request: Request, role: RoleAsked, name: str, visitor: Visitor = owner) -> Response:
        return _show(context, request, visitor, _known(context.farm, role, name))

    @routes.post("/farm/map/{role}/{name}")
    async def redrawn(
        request: Request, role: RoleAsked, name: str, visitor: Visitor = owner
    ) -> Response:
        form = await context.auth.form(request, visitor, long=True)
        return await _take(context, request, visitor, _known(context.farm, role, name), form)

    @routes.post("/farm/map/{role}/{name}/remove")
    async def removed(
        request: Request, role: RoleAsked, name: str, visitor: Visitor = owner
    ) -> Response:
        form = await context.auth.form(request, visitor, long=True)
        boundary = _known(context.farm, role, name)
        asked = FarmChangeAsked(
            by_edits(context, [Remove((_TABLES[role], name)), RemoveBoundary(name)]),
            form,
            _BACK,
            lambda problems: _show(context, request, visitor, boundary, typed=Typed({}, problems)),
        )
        return await change(context, request, visitor, asked)

    return routes


def _known(farm: Farm, role: Role, name: str) -> _Boundary:
    if name not in (farm.ground.fields_deg if role == "field" else farm.ground.neighbours_deg):
        raise HTTPException(404, "nothing of the farm has this name")
    return _Boundary(role, name, is_new=False)


def _new(farm: Farm, role: Role, called: str) -> _Boundary:
    taken = {*farm.config.fields, *farm.config.neighbours}
    name = name_for(called, taken, role)
    at = (_TABLES[role], name)
    if role == "neighbour":
        minds: list[tuple[str, Param]] = [
            (one.value, SUSCEPTIBILITY_WORDS[one]) for one in Susceptibility
        ]
        asked = [
            Field("grows", (*at, "grows"), say("What grows or lives there")),
            Field("minds", (*at, "susceptibility"), say("What spray does to it"), "choice", minds),
            field_of(Neighbour, "kinds", at, farm.config.farm.units),
        ]
    else:
        weeds: list[tuple[str, Param]] = [(one.value, WEED_WORDS[one]) for one in WeedPressure]
        windows: list[tuple[str, Param]] = [(one, Name(one)) for one in farm.config.windows]
        asked = [
            Field("crop", (*at, "crop"), say("Crop")),
            Field("weeds", (*at, "weeds"), say("Weeds"), "choice", weeds),
            Field("window", (*at, "window"), say("Spray window"), "choice", windows),
        ]
    called_field = Field("name", ("name",), say("What it is called here"))
    return _Boundary(role, name, is_new=True, asked=[called_field, *asked])


async def _take(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    boundary: _Boundary,
    form: dict[str, str],
) -> Response:
    """Take a boundary as it was drawn; what it overlaps must be said to be meant."""
    system = context.speaker.system
    text = form.get("corners", "").replace("\r\n", "\n").strip()

    def again(problems: Sequence[Problem], overlaps: Sequence[Message] = ()) -> Response:
        found = Typed(form, problems)
        return _show(context, request, visitor, boundary, typed=found, overlaps=overlaps)

    try:
        looked = look(text, boundary.name, boundary.role, context.farm.ground)
    except BadShapeError as error:
        file = in_use(context).editor.texts().fields_file
        return again([Problem(file, "corners", error.wrong, error.mend)])
    overlaps = overlap_lines(looked.found, system)
    if overlaps and not form.get("overlap_ok"):
        return again((), overlaps)
    asked = FarmChangeAsked(
        by_edits(context, _edits(context.farm, boundary, looked, form, text)),
        form,
        _BACK,
        lambda problems: again(problems, overlaps),
    )
    return await change(context, request, visitor, asked)


def _edits(
    farm: Farm, boundary: _Boundary, looked: Looked, form: dict[str, str], text: str
) -> list[Edit]:
    geometry = json.loads(shapely.to_geojson(looked.outline.shape))
    drawn: Edit = SetBoundary(boundary.name, boundary.role, geometry)
    if not boundary.is_new:
        ground = farm.ground
        shapes = ground.fields_deg if boundary.role == "field" else ground.neighbours_deg
        same = typed_corners(shapes[boundary.name]) == text
        return [] if same else [drawn]
    entry: dict[str, Any] = {}
    for edit in edits(boundary.asked[1:], form):
        if isinstance(edit, SetValue):
            entry[str(edit.at[-1])] = edit.value
    return [SetValue((_TABLES[boundary.role], boundary.name), entry), drawn]


def _show(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    boundary: _Boundary,
    *,
    typed: Typed | None = None,
    overlaps: Sequence[Message] = (),
) -> Response:
    """Show the page on which a boundary is drawn, with what is wrong with what was sent."""
    farm, ground = context.farm, context.farm.ground
    problems = list(typed.problems) if typed else []
    of_shape = [p for p in problems if p.file.suffix == ".geojson"]
    others = [p for p in problems if p not in of_shape]
    shapes = ground.fields_deg if boundary.role == "field" else ground.neighbours_deg
    was = "" if boundary.is_new else typed_corners(shapes[boundary.name])
    sent = typed.form.get("corners") if typed else None
    around = {n: ("other-field", s) for n, s in ground.fields_deg.items()}
    around |= {
        n: (kind_of(farm.config.neighbours[n].susceptibility), s)
        for n, s in ground.neighbours_deg.items()
    }
    around.pop(boundary.name, None)
    pictures = context.pictures
    title = say("Draw {name}", name=Name(boundary.name))
    if boundary.is_new:
        title = say("Draw a field") if boundary.role == "field" else say("Draw a neighbour")
    answer = context.show(
        request,
        visitor,
        "farm_boundary.html",
        status=422 if problems or overlaps else 200,
        title=title,
        rows=[
            *rows(boundary.asked, in_use(context).editor.texts(), typed),
            Row(_CORNERS, was, was if sent is None else sent, of_shape),
        ],
        wrong=of_mistakes(elsewhere(boundary.asked, others)),
        refused=bool(problems or overlaps),
        editor=MapEditor(
            around,
            ground.middle,
            context.speaker.system,
            f"{_BACK}/look",
            "" if boundary.is_new else boundary.name,
            boundary.role,
            pictures,
            overlaps,
            said_so=bool(typed and typed.form.get("overlap_ok")),
        ),
        attribution=pictures.attribution if pictures else "",
        to=boundary.to,
        back=_BACK,
        may_remove=not boundary.is_new,
    )
    answer.headers.update(HERE)
    return answer
