"""Between the HTTP cache and the network: whole bodies up, nothing broken remembered."""

from collections.abc import Callable
from email.utils import formatdate, parsedate_to_datetime

import httpx

from watcher.sources import json_text
from watcher.sources.base import SourceError


class WholeBodies(httpx.AsyncBaseTransport):
    """Reads each answer whole, and tells the cache above what it must not guess.

    hishel takes an undated answer for a new one however long it has lain, guesses an expiry from
    Last-Modified, and keeps a body cut short; none of that may happen to weather. Secrets of a
    request (its extension ``secrets``) are added here, below the cache and the client's log.
    """

    def __init__(
        self, network: httpx.AsyncBaseTransport, max_bytes: int, clock: Callable[[], float]
    ) -> None:
        self._network = network
        self._max_bytes = max_bytes
        self._clock = clock

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        response = await self._network.handle_async_request(_with_secrets(request))
        try:
            body = await self._read(response, request.url)
        finally:
            await response.aclose()
        headers = self._cache_rules(response, body)
        if response.status_code == httpx.codes.NOT_MODIFIED:
            return httpx.Response(response.status_code, headers=headers)
        return httpx.Response(response.status_code, headers=headers, content=body)

    async def aclose(self) -> None:
        await self._network.aclose()

    async def _read(self, response: httpx.Response, url: httpx.URL) -> bytes:
        body = bytearray()
        async for chunk in response.aiter_bytes():
            body += chunk
            if len(body) > self._max_bytes:
                raise SourceError(
                    f"{url} sends more than {self._max_bytes} bytes; ask it for less, or check "
                    "that the address is the feed's"
                )
        return bytes(body)

    def _cache_rules(self, response: httpx.Response, body: bytes) -> httpx.Headers:
        """Return the headers the cache may go by: what it must not guess is said outright."""
        headers = response.headers.copy()
        for name in ("content-encoding", "transfer-encoding", "content-length"):
            headers.pop(name, None)
        date, now = http_date(headers.get("date", "")), self._clock()
        if date is None or date > now:
            # Undated or dated ahead, an answer would never grow old.
            headers["date"] = formatdate(now, usegmt=True)
        if response.status_code == httpx.codes.NOT_MODIFIED:
            return headers
        control = headers.get("cache-control", "")
        if response.status_code not in {200, 203} or not _is_json(body):
            headers["cache-control"] = "no-store"
        elif "max-age" not in control and "expires" not in headers:
            # Without an expiry the cache would guess one from Last-Modified.
            headers["cache-control"] = ", ".join(filter(None, [control, "no-cache"]))
        return headers


def origin_of(url: httpx.URL) -> tuple[str, str, int | None]:
    return url.scheme, url.host, url.port


def _with_secrets(request: httpx.Request) -> httpx.Request:
    """Return the request as it goes out: secrets go to the origin they were meant for, only."""
    origin, secrets = request.extensions.get("secrets", (None, []))
    if not secrets or origin != origin_of(request.url):
        return request
    url = request.url.copy_with(
        params=httpx.QueryParams([*request.url.params.multi_items(), *secrets])
    )
    return httpx.Request(
        request.method, url, headers=request.headers, extensions=request.extensions
    )


def http_date(text: str) -> float | None:
    try:
        return parsedate_to_datetime(text).timestamp()
    except (ValueError, OverflowError):
        return None


def _is_json(body: bytes) -> bool:
    try:
        json_text.loads(body)
    except ValueError:
        return False
    return True
