"""What every answer carries and every request must pass, whatever it is for."""

import traceback

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from watcher.web.log_throttle import LogThrottle
from watcher.web.problem import problem

MOST_BYTES = 300_000
_UNSAFE = {"POST", "PUT", "PATCH", "DELETE"}
_OWN = {"same-origin", "none"}

_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": with it browsers hide from us too where a form comes from.
    "referrer-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
_A_YEAR = "max-age=31536000"


class SecurityMiddleware:
    """Refuses what another site sends and what is too large; adds the headers to every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._throttled = LogThrottle()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        begun = False

        async def with_headers(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                _add_headers(MutableHeaders(scope=message), https=scope["scheme"] == "https")
            await send(message)

        headers = Headers(scope=scope)
        refusal = _refusal(scope["method"], headers)
        if refusal is not None:
            await refusal(scope, receive, with_headers)
            return
        body = _Counted(receive)
        try:
            await self.app(scope, body, with_headers)
        except ClientDisconnect:
            if body.too_long and not begun:
                await _too_long()(scope, receive, with_headers)
        except Exception as error:
            if begun:  # half an answer cannot be taken back
                raise
            self._note(scope["path"], error)
            wrong = "something went wrong here; the log of the service has more"
            await problem(500, wrong)(scope, receive, with_headers)

    def _note(self, path: str, error: Exception) -> None:
        """Log where it went wrong; not what the error says, which may hold an address or a token.

        Once a minute of a kind: whoever finds a page that fails must not fill the disk with it.
        """
        where = traceback.format_tb(error.__traceback__)
        kind = f"{type(error).__name__} {where[-1].splitlines()[0].strip()}"
        self._throttled.warn("a page failed", kind, path=path[:200], where="".join(where))


class _Counted:
    """Hands a body on until it is too large, then hangs up on whoever sends it."""

    def __init__(self, receive: Receive) -> None:
        self._receive, self._bytes = receive, 0

    @property
    def too_long(self) -> bool:
        return self._bytes > MOST_BYTES

    async def __call__(self) -> Message:
        message = await self._receive()
        self._bytes += len(message.get("body", b""))
        return {"type": "http.disconnect"} if self.too_long else message


def _refusal(method: str, headers: Headers) -> Response | None:
    if method in _UNSAFE and not _from_here(headers):
        wrong = "another site sent this; it is taken from this one's own pages only"
        return problem(403, wrong)
    length = headers.get("content-length", "0")
    if length.isdigit() and int(length) > MOST_BYTES:
        return _too_long()
    return None


def _too_long() -> Response:
    return problem(413, f"the body is over {MOST_BYTES} bytes")


def _from_here(headers: Headers) -> bool:
    """Whether a request comes from a page of ours, or from no page at all."""
    if "sec-fetch-site" in headers and headers["sec-fetch-site"] not in _OWN:
        return False
    origin = headers.get("origin")
    return origin is None or origin.partition("://")[2] == headers.get("host")


def _add_headers(headers: MutableHeaders, *, https: bool) -> None:
    for name, value in _HEADERS.items():
        headers.setdefault(name, value)
    headers.setdefault("cache-control", "no-store")
    if https:
        headers.setdefault("strict-transport-security", _A_YEAR)
