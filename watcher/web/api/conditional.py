"""Reading again only what has changed: every JSON answer has an ETag, and knows If-None-Match."""

from collections.abc import Callable, Coroutine
from hashlib import sha256
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute
from starlette.responses import StreamingResponse

_LETTERS = 20


class ConditionalRoute(APIRoute):
    """A route whose good answers to GET are known apart by what is in them."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler with the comparison after it."""
        handler = super().get_route_handler()
        if "GET" not in (self.methods or ()):
            return handler

        async def compared(request: Request) -> Response:
            return _unless_known(request, await handler(request))

        return compared


def _unless_known(request: Request, answer: Response) -> Response:
    if answer.status_code != 200 or isinstance(answer, StreamingResponse):
        return answer
    # Weak: on the way the same may be packed or not.
    etag = answer.headers.setdefault("ETag", f'W/"{sha256(answer.body).hexdigest()[:_LETTERS]}"')
    if "authorization" in request.headers:  # a browser, which others may use, keeps nothing
        answer.headers.setdefault("Cache-Control", "private, no-cache")
    if not _known(request.headers.get("if-none-match", ""), etag):
        return answer
    kept = {"etag", "cache-control", "vary", "content-language", "link"}
    headers = {name: value for name, value in answer.headers.items() if name in kept}
    return Response(status_code=304, headers=headers)


def _known(asked: str, etag: str) -> bool:
    """By the weak comparison of RFC 9110."""
    opaque = etag.removeprefix("W/")
    return any(one.strip().removeprefix("W/") in {opaque, "*"} for one in asked.split(","))
