"""Between the HTTP cache and the network: whole bodies up, nothing broken remembered."""

import asyncio
import zlib
from collections.abc import AsyncIterable, Callable, Iterator
from email.utils import formatdate, parsedate_to_datetime
from functools import partial
from typing import cast

import httpx

from watcher.sources import json_text
from watcher.sources.base import SourceError
from watcher.sources.body_reader import BodyReader

ENCODING = "gzip"
"""How a feed is asked to pack its answer."""
_WINDOWS = {"gzip": 16 + zlib.MAX_WBITS, "x-gzip": 16 + zlib.MAX_WBITS, "deflate": zlib.MAX_WBITS}
"""What zlib calls the ways to pack of RFC 9110, 8.4.1."""
_STEP_BYTES = 64 * 1024
_LONGEST_DATE = 64

Dated = Callable[[str, float, bool], None]
"""Takes the host of an answer, the time it is dated by, epoch seconds, and whether it is secure."""


class WholeBodies(httpx.AsyncBaseTransport):
    """Reads each answer whole, and tells the cache above what it must not guess.

    hishel takes an undated answer for a new one however long it has lain, guesses an expiry from
    Last-Modified, and keeps a body cut short; none of that may happen to weather. Secrets of a
    request (its extension ``secrets``) are added here, below the cache and the client's log.
    """

    def __init__(
        self,
        network: httpx.AsyncBaseTransport,
        max_bytes: int,
        clock: Callable[[], float],
        reader: BodyReader,
        dated: Dated | None = None,
        *,
        whole: Callable[[bytes], bool],
    ) -> None:
        self._network = network
        self._whole = whole
        self._reader = reader
        self._dated = dated
        self._max_bytes = max_bytes
        self._clock = clock

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        response = await self._network.handle_async_request(_with_secrets(request))
        try:
            body = await self._read(response, request.url)
        finally:
            await response.aclose()
        self._tell_date(response, request.url)
        headers = await self._cache_rules(response, body)
        if response.status_code == httpx.codes.NOT_MODIFIED:
            return httpx.Response(response.status_code, headers=headers)
        return httpx.Response(response.status_code, headers=headers, content=body)

    async def aclose(self) -> None:
        await self._network.aclose()

    async def _read(self, response: httpx.Response, url: httpx.URL) -> bytes:
        """Return the body unpacked, counted as it comes and as it is unpacked."""
        chunks = cast("AsyncIterable[bytes]", response.stream)  # of an asynchronous transport
        packed = response.headers.get("content-encoding", "identity").strip().lower()
        body, came = bytearray(), 0
        try:
            unpack = _Unpacked.as_declared(packed)
            async for chunk in chunks:
                came += len(chunk)
                self._check_size(came, url)
                for part in unpack.parts(chunk):
                    body += part
                    self._check_size(len(body), url)
                    await asyncio.sleep(0)  # a small answer may unpack to much: others have a turn
            if came:  # an answer that nothing has changed has no body, however it would be packed
                unpack.check_whole()
        except ValueError as error:
            raise SourceError(
                f"{url} packs its answer as {packed[:60]!a}: {error}; it was asked for "
                f"{ENCODING} once or nothing; it is asked again at the next poll"
            ) from error
        return bytes(body)

    def _check_size(self, size: int, url: httpx.URL) -> None:
        if size > self._max_bytes:
            raise SourceError(
                f"{url} sends more than {self._max_bytes} bytes; ask it for less, or check that "
                "the address is the feed's"
            )

    def _tell_date(self, response: httpx.Response, url: httpx.URL) -> None:
        date = http_date(response.headers.get("date", ""))
        if date is not None and self._dated is not None:
            # A cache on the way hands on the date of the origin, and how long ago that was.
            age = response.headers.get("age", "0").strip()
            since = float(age[:9]) if age.isascii() and age.isdigit() else 0.0
            self._dated(url.host, date + since, url.scheme == "https")

    async def _cache_rules(self, response: httpx.Response, body: bytes) -> httpx.Headers:
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
        if response.status_code not in {200, 203} or not await self._is_whole(body):
            headers["cache-control"] = "no-store"
        elif "max-age" not in control and "expires" not in headers:
            # Without an expiry the cache would guess one from Last-Modified.
            headers["cache-control"] = ", ".join(filter(None, [control, "no-cache"]))
        return headers

    async def _is_whole(self, body: bytes) -> bool:
        return await self._reader.read(partial(self._whole, body), size=len(body))


class _Unpacked:
    """Unpacks a body in small steps, so that it is counted before it takes memory."""

    def __init__(self, window: int | None) -> None:
        self._packed = None if window is None else zlib.decompressobj(window)

    @classmethod
    def as_declared(cls, packed: str) -> "_Unpacked":
        """Return it for a Content-Encoding; ``ValueError`` for one that is not taken."""
        if packed in {"", "identity"}:
            return cls(None)
        if packed not in _WINDOWS:
            raise ValueError("this is not taken")
        return cls(_WINDOWS[packed])

    def parts(self, chunk: bytes) -> Iterator[bytes]:
        """Yield what more of the body unpacks to; ``ValueError`` for what is not so packed."""
        if self._packed is None:
            yield chunk
            return
        if self._packed.eof and chunk:
            raise ValueError("more follows after its end")
        while chunk:
            try:
                part = self._packed.decompress(chunk, _STEP_BYTES)
            except zlib.error as error:
                raise ValueError(f"it is damaged ({error})") from error
            if part:
                yield part
            if self._packed.unused_data:
                raise ValueError("more follows after its end")
            chunk = self._packed.unconsumed_tail

    def check_whole(self) -> None:
        """Raise ``ValueError`` unless the end has come."""
        if self._packed is not None and not self._packed.eof:
            raise ValueError("it was cut short")


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
        return parsedate_to_datetime(text[:_LONGEST_DATE]).timestamp()
    except (ValueError, OverflowError):
        return None


def is_json(body: bytes) -> bool:
    """Whether a body is one whole JSON value."""
    try:
        json_text.loads(body)
    except ValueError:
        return False
    return True
