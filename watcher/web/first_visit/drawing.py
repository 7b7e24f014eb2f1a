"""The first field on a map: what the editor begins with, and how a shape is looked at."""

import contextlib
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager

from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.responses import JSONResponse

from watcher.farm.geometry.boundaries import BadShapeError
from watcher.farm.geometry.ground import Ground
from watcher.farm.geometry.importing import outlines
from watcher.i18n.language import Language
from watcher.service.first_farm import FirstFarm
from watcher.sources.tile_address import MapPictures
from watcher.sources.tiles import TileClient
from watcher.web.auth.authenticator import Authenticator
from watcher.web.first_visit.steps import system_of
from watcher.web.map_editor import MapEditor, look, refused, told, told_of_several

_LOOK_AT = "/first/field/look"
_MOST_BYTES = 280_000
_NOTHING = Ground({}, {})


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
    """Return what the editor begins with: what was drawn before is drawn anew."""
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
    farm: FirstFarm, door: Authenticator, language_of: Callable[[Request], Language]
) -> APIRouter:
    """The route by which a shape is looked at while it is drawn."""
    routes = APIRouter(include_in_schema=False)

    @routes.post(_LOOK_AT)
    async def looked(request: Request) -> Response:
        visitor = door.administrator(request)
        form = await door.form(request, visitor, long=True, most_bytes=_MOST_BYTES)
        text, language, system = form.get("corners", ""), language_of(request), system_of(farm)
        try:
            found = outlines(text)
            if len(found) > 1:
                return JSONResponse(told_of_several(found, system, language))
            return JSONResponse(told(look(text, "", "field", _NOTHING), system, language))
        except BadShapeError as error:
            return JSONResponse(refused(error, language), 422)

    return routes
