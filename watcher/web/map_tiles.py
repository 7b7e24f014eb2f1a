"""Pictures of the ground for the pages: from here, so that a page asks no other host."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response

from watcher.sources.base import SourceError
from watcher.sources.tiles import TileClient, TooManyTilesError
from watcher.web.context import TILES_AT
from watcher.web.log_throttle import LogThrottle
from watcher.web_mercator import Tile

_RETRY_AFTER_S = "20"


def router(tiles: TileClient | None, may_look: Callable[[Request], Any]) -> APIRouter:
    """The route of the tiles, for who may look."""
    routes = APIRouter(include_in_schema=False)
    throttled = LogThrottle()

    @routes.get(TILES_AT + "/{z}/{x}/{y}", dependencies=[Depends(may_look)])
    async def tile(z: int, x: int, y: int) -> Response:
        if tiles is None:
            raise HTTPException(404, "no pictures of the ground are set")
        try:
            found = await tiles.get(Tile(z, x, y))
        except TooManyTilesError:
            return Response(status_code=503, headers={"Retry-After": _RETRY_AFTER_S})
        except SourceError as error:
            throttled.warn("a picture of the ground did not come", why=str(error)[:300])
            return Response(status_code=404, headers={"Cache-Control": "no-store"})
        kept = "no-store" if found.fresh_s is None else f"private, max-age={found.fresh_s}"
        return Response(found.body, media_type=found.media_type, headers={"Cache-Control": kept})

    return routes
