"""Where a station posts its readings: a token a station, a bounded body, whole or not at all."""

import hmac
from collections.abc import Mapping

from fastapi import APIRouter, Header, Request
from fastapi.responses import JSONResponse
from pydantic import SecretStr

from watcher.service.watch import Watch
from watcher.sources.bad_reading import BadReadingError
from watcher.sources.readings import MAX_BYTES, parse
from watcher.weather.series import Site
from watcher.web.api_models import TakenTold, Wrong


def router(watch: Watch, sites: Mapping[str, Site], tokens: Mapping[str, SecretStr]) -> APIRouter:
    """Routes of the stations in ``sites``, each with its token."""
    routes = APIRouter()

    @routes.post(
        "/stations/{station}/readings",
        tags=["stations"],
        response_model=TakenTold,
        responses={
            code: {"model": Wrong, "description": what}
            for code, what in {
                401: "No station has this token",
                413: "The body is too large",
                422: "The readings are not understood; nothing was kept",
                503: "The log cannot be used; nothing was kept, send it again",
            }.items()
        },
        openapi_extra={
            "security": [{"HTTPBearer": []}],
            "requestBody": {"required": True, "content": {"application/json": {"schema": {}}}},
        },
    )
    async def take_readings(
        station: str,
        request: Request,
        authorization: str = Header(default="", include_in_schema=False),
    ) -> JSONResponse:
        """Take one reading or a batch, plain JSON or SenML. Posting it again changes nothing."""
        if not _knows(tokens.get(station), authorization):
            # The same answer for an unknown station: nobody learns which names exist.
            return _refused(401, "no station has this token; send Authorization: Bearer TOKEN")
        body = await _bounded(request)
        if body is None:
            return _refused(413, f"the body is over {MAX_BYTES} bytes; post fewer at a time")
        try:
            observations = parse(
                body,
                request.headers.get("content-type", ""),
                now=watch.clock.now(),
                site=sites[station],
                source=station,
            )
        except BadReadingError as error:
            return _refused(422, str(error))
        new = await watch.receive(observations)
        return JSONResponse({"taken": len(observations.series), "new": new})

    return routes


def _knows(token: SecretStr | None, authorization: str) -> bool:
    scheme, _, given = authorization.partition(" ")
    expected = token.get_secret_value() if token else ""
    fits = hmac.compare_digest(given.strip().encode(), expected.encode())
    return bool(expected) and scheme.lower() == "bearer" and fits


async def _bounded(request: Request) -> bytes | None:
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > MAX_BYTES:
            return None
    return bytes(body)


def _refused(status: int, wrong: str) -> JSONResponse:
    return JSONResponse({"wrong": wrong}, status_code=status)
