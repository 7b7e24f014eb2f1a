"""Where a station posts its readings: a token a station, a bounded body, whole or not at all."""

import hmac
from collections.abc import Callable, Mapping
from functools import partial

from fastapi import APIRouter, Header, Request
from fastapi.responses import JSONResponse
from pydantic import SecretStr

from watcher.service.source_factory import PostingStation
from watcher.service.watch import Watch
from watcher.sources.base import SourceError
from watcher.sources.stations.bad_reading import BadReadingError, UnlikelyTimeError
from watcher.sources.stations.readings import FORM, KINDS, MAX_BYTES, PLAIN, parse
from watcher.web.api.models import TakenSchema, Wrong
from watcher.web.lanes import RETRY_AFTER_S, FullError, Lane
from watcher.web.problem import problem

_CLOCKS = (
    "this time and the clock of the watch contradict each other, and it is not known which of "
    "them is right; nothing was kept, send it again, and look at both clocks"
)


def router(
    watch: Watch,
    stations: Callable[[], Mapping[str, PostingStation]],
    tokens: Mapping[str, SecretStr],
) -> APIRouter:
    """Routes of the stations that post, each with its token; ``stations`` are those of the farm."""
    routes = APIRouter()
    # One at a time, in the order they came: of a quantity posted twice the last value stands.
    lanes: dict[str, Lane] = {}

    # The address of old, which stands in devices that nobody climbs up a mast to change.
    @routes.post("/stations/{station}/readings", include_in_schema=False)
    @routes.post(
        "/api/v1/stations/{station}/readings",
        tags=["stations"],
        response_model=TakenSchema,
        responses={
            code: {"model": Wrong, "description": what}
            for code, what in {
                401: "No station has this token",
                413: "The body is too large",
                415: "The body is packed",
                422: "The readings are not understood; nothing was kept",
                503: "They cannot be read or kept, or the time is not known; nothing was kept, "
                "send it again",
            }.items()
        },
        openapi_extra={
            "security": [{"HTTPBearer": []}],
            "requestBody": {"required": True, "content": {kind: {"schema": {}} for kind in KINDS}},
        },
    )
    async def take_readings(
        station: str,
        request: Request,
        authorization: str = Header(default="", include_in_schema=False),
    ) -> JSONResponse:
        """Take one reading or a batch: plain JSON, the station's own, or SenML.

        Posting it again changes nothing.

        What is posted of a second in parts is put together by quantity; a quantity posted again is
        corrected and the others stay. The answer says what is doubted, and how the station is.
        """
        address = request.client.host if request.client else "an unknown address"
        if not knows(tokens.get(station), authorization) or station not in stations():
            watch.refuse(station, "token", "a wrong token", address)
            # The same answer for an unknown station: nobody learns which names exist.
            return _refused(401, "no station has this token; send Authorization: Bearer TOKEN")
        if packed := request.headers.get("content-encoding"):
            return _refused(415, f"{packed[:40]!a} is not taken; send no Content-Encoding")
        body = await bounded_body(request)
        if body is None:
            wrong = f"the body is over {MAX_BYTES} bytes; post fewer at a time"
            watch.refuse(station, "body", wrong, address)
            return _refused(413, wrong)
        return await _taken(station, request, body, address)

    async def _taken(station: str, request: Request, body: bytes, address: str) -> JSONResponse:
        kind, posting = request.headers.get("content-type", ""), stations()[station]
        lane = lanes.setdefault(station, Lane(at_once=1, waiting=20, of_one=20))
        work = partial(
            parse,
            body,
            kind,
            now=watch.clock.now(),
            site=posting.site,
            source=station,
            mapping=posting.mapping,
        )
        try:
            async with lane.turn(station):
                # What may be dated by the moment it is read tells nothing of the clock.
                mapping = posting.mapping
                dated = kind.partition(";")[0].strip().lower() in {PLAIN, FORM} and (
                    mapping is None or mapping.dated
                )
                posted, view = await watch.receive(station, work, size=len(body), dated=dated)
        except BadReadingError as error:
            if isinstance(error, UnlikelyTimeError) and watch.transactions.time.contradicted(
                station, error.time
            ):
                return _refused(503, f"{error.key}: {_CLOCKS}")
            watch.refuse(station, "body", str(error), address)
            return _refused(422, str(error))
        except SourceError as error:
            return _refused(503, f"{error}; send it again, fewer readings at a time")
        except FullError:
            answer = _refused(503, "this station has too much to tell at once; send it again")
            answer.headers["Retry-After"] = str(RETRY_AFTER_S)
            return answer
        return JSONResponse(
            TakenSchema.of(posted, view, watch.transactions.plan.farm.zone).model_dump()
        )

    return routes


def knows(token: SecretStr | None, authorization: str) -> bool:
    """Return whether a header shows a station's token."""
    scheme, _, given = authorization.partition(" ")
    expected = token.get_secret_value() if token else ""
    fits = hmac.compare_digest(given.strip().encode(), expected.encode())
    return bool(expected) and scheme.lower() == "bearer" and fits


async def bounded_body(request: Request) -> bytes | None:
    """Read a post's body; None where it is more than is taken at once."""
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > MAX_BYTES:
            return None
    return bytes(body)


def _refused(status: int, wrong: str) -> JSONResponse:
    return problem(status, wrong)
