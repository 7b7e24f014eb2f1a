"""Drawn on the first visit: the first field, and who lies beside it as they lie."""

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from typing import Any

import shapely
from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from watcher.farm.editing.edits import Edit, Remove, RemoveBoundary, SetBoundary, SetValue
from watcher.farm.editing.first_farm import name_for
from watcher.farm.geometry.boundaries import BadShapeError
from watcher.farm.geometry.drawing import Role
from watcher.farm.geometry.ground import Ground, Polygonal
from watcher.farm.geometry.importing import outlines
from watcher.farm.models import Susceptibility
from watcher.farm.problems import Problem
from watcher.i18n.language import Language
from watcher.i18n.message import Message, Name, Param, say
from watcher.messages.vocabulary import SUSCEPTIBILITY_WORDS
from watcher.service.first_farm import FirstFarm
from watcher.sources.tile_address import MapPictures
from watcher.sources.tiles import TileClient
from watcher.web.auth.authenticator import Authenticator
from watcher.web.first_visit.screens import checked, system_of
from watcher.web.map_editor import (
    MapEditor,
    look,
    look_answer,
    look_answer_of_several,
    overlap_lines,
    refused,
)
from watcher.web.pages.farm_form import AtFaultError, Field, Typed, elsewhere, of_mistakes, rows
from watcher.web.svg.ground import kind_of

_LOOK_AT, _NEIGHBOUR = "/first/field/look", "/first/neighbour"
_MOST_BYTES = 280_000
_NEW = ("neighbours", "")
"""Where a neighbour stands that has no name yet."""


def while_open(
    tiles: TileClient | None,
) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """Return what is open as long as the application runs."""

    @contextlib.asynccontextmanager
    async def opened(_app: FastAPI) -> AsyncIterator[None]:
        async with tiles or contextlib.nullcontext():
            yield

    return opened


def editor(
    farm: FirstFarm, pictures: MapPictures | None, *, asks_overlap: bool = False
) -> MapEditor:
    """Return what the editor of the fields begins with: what was drawn before is drawn anew."""
    around = {name: ("other", shape) for name, shape in farm.shapes.items()}
    return MapEditor(
        around,
        farm.place,
        system_of(farm),
        _LOOK_AT,
        pictures=pictures,
        asks_overlap=asks_overlap,
    )


def router(
    farm: FirstFarm,
    auth: Authenticator,
    pictures: MapPictures | None,
    language_of: Callable[[Request], Language],
    show: Callable[..., Response],
) -> APIRouter:
    """Routes of what is drawn; ``show`` makes a page of a template and its values."""
    routes = APIRouter(include_in_schema=False)

    @routes.post(_LOOK_AT)
    async def looked(request: Request) -> Response:
        visitor = auth.administrator(request)
        form = await auth.form(request, visitor, long=True, most_bytes=_MOST_BYTES)
        text, language, system = form.get("corners", ""), language_of(request), system_of(farm)
        # All fields are drawn anew together; a neighbour is drawn beside them.
        role: Role = "neighbour" if form.get("role") == "neighbour" else "field"
        around = _ground(farm) if role == "neighbour" else Ground({}, {})
        try:
            found = outlines(text)
            if role == "field" and len(found) > 1:
                return JSONResponse(look_answer_of_several(found, system, language))
            return JSONResponse(look_answer(look(text, "", role, around), system, language))
        except BadShapeError as error:
            return JSONResponse(refused(error, language), 422)

    @routes.get(_NEIGHBOUR)
    def asks(request: Request) -> Response:
        auth.administrator(request)
        return show(request, "first_neighbour.html", **_neighbour(farm, pictures))

    @routes.post(_NEIGHBOUR)
    async def drawn(request: Request) -> Response:
        visitor = auth.administrator(request)
        form = await auth.form(request, visitor, long=True, most_bytes=_MOST_BYTES)
        overlaps: Sequence[Message] = ()
        try:
            shape, overlaps = _shape(farm, form)
            if overlaps and not form.get("overlap_ok"):
                raise AtFaultError(())
            found, asked = _edits(farm, form, shape)
            texts = await asyncio.to_thread(checked, farm, "sides", found, asked)
        except AtFaultError as error:
            values = _neighbour(farm, pictures, Typed(form, error.problems), overlaps)
            return show(request, "first_neighbour.html", 422, **values)
        await asyncio.to_thread(farm.keep, texts)
        return RedirectResponse(_NEIGHBOUR, 303)

    @routes.post(_NEIGHBOUR + "/remove")
    async def removed(request: Request) -> Response:
        form = await auth.form(request, auth.administrator(request))
        name = form.get("neighbour", "")
        if name in farm.raw.get("neighbours", {}):
            texts = farm.with_edits([Remove(("neighbours", name)), RemoveBoundary(name)])
            await asyncio.to_thread(farm.keep, texts)
        return RedirectResponse(_NEIGHBOUR, 303)

    return routes


def _ground(farm: FirstFarm) -> Ground:
    shapes, fields = farm.shapes, farm.raw.get("fields", {})
    own = {name: shape for name, shape in shapes.items() if name in fields}
    return Ground(own, {name: shape for name, shape in shapes.items() if name not in own})


def _asked(at: tuple[str, ...]) -> list[Field]:
    minds: list[tuple[str, Param]] = [(s.value, SUSCEPTIBILITY_WORDS[s]) for s in Susceptibility]
    return [
        Field("name", ("name",), say("What it is called here")),
        Field("grows", (*at, "grows"), say("What grows or lives there")),
        Field("minds", (*at, "susceptibility"), say("What spray does to it"), "choice", minds),
        Field("corners", ("corners",), say("Its corners, one a line"), "long"),
    ]


def _shape(farm: FirstFarm, form: Mapping[str, str]) -> tuple[Polygonal, list[Message]]:
    """The shape that was sent, and what it overlaps. Raises ``AtFaultError``."""
    try:
        found = look(form.get("corners", ""), "", "neighbour", _ground(farm))
    except BadShapeError as error:
        raise AtFaultError([Problem(farm.file, "corners", error.wrong, error.mend)]) from error
    return found.outline.shape, overlap_lines(found.found, system_of(farm))


def _edits(
    farm: FirstFarm, form: Mapping[str, str], shape: Polygonal
) -> tuple[list[Edit], list[Field]]:
    grows = form.get("grows", "").strip()
    taken = {*farm.raw.get("fields", {}), *farm.raw.get("neighbours", {})}
    name = name_for(form.get("name", "") or grows, taken, "neighbour")
    if not grows:
        key = f"{'.'.join(_NEW)}.grows"
        mend = say("write what grows or lives there")
        raise AtFaultError([Problem(farm.file, key, say("is missing"), mend)])
    at = ("neighbours", name)
    entry = {"grows": grows, "susceptibility": form.get("minds", "")}
    geometry = json.loads(shapely.to_geojson(shape))
    return [SetValue(at, entry), SetBoundary(name, "neighbour", geometry)], _asked(at)


def _neighbour(
    farm: FirstFarm,
    pictures: MapPictures | None,
    typed: Typed | None = None,
    overlaps: Sequence[Message] = (),
) -> dict[str, Any]:
    """What the page of a neighbour holds."""
    ground, entries = _ground(farm), farm.raw.get("neighbours", {})
    around = {name: ("other-field", shape) for name, shape in ground.fields_deg.items()}
    for name, shape in ground.neighbours_deg.items():
        kind = Susceptibility(entries[name]["susceptibility"])
        around[name] = kind_of(kind), shape
    asked = _asked(_NEW)
    problems = typed.problems if typed else ()
    first = next(iter(ground.fields_deg), "")
    return {
        "editor": MapEditor(
            around,
            farm.place,
            system_of(farm),
            _LOOK_AT,
            role="neighbour",
            pictures=pictures,
            overlaps=overlaps,
            said_so=bool(typed and typed.form.get("overlap_ok")),
        ),
        "attribution": pictures.attribution if pictures else "",
        "rows": rows(asked, farm.texts, typed),
        "wrong": of_mistakes(elsewhere(asked, problems)),
        "refused": typed is not None,
        "drawn": [
            (name, Name(str(entries[name].get("grows", "")))) for name in ground.neighbours_deg
        ],
        "back": f"/first/sides?field={first}" if first else "/first",
    }
