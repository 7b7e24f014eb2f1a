"""Pictures of the ground, fetched by the watch so that a page asks nobody else.

Within the provider's terms: each tile is asked for when somebody looks at it, kept as long as the
provider lets it be and confirmed by its ETag then, few at once and few a minute, with who asks in
every request. The one host is that of the owner's address; nothing leads anywhere else.
"""

import asyncio
import io
import math
import socket
import time
import warnings
from collections import deque
from collections.abc import AsyncIterable, Awaitable, Callable, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass
from functools import partial
from ipaddress import ip_address
from pathlib import Path
from typing import Self, cast
from urllib.parse import quote

import httpx

from watcher.addresses import is_public
from watcher.sources.base import SourceError
from watcher.sources.body_reader import BodyReader
from watcher.sources.http import FeedClient
from watcher.sources.tile_address import KEY, MapPictures
from watcher.sources.whole_bodies import http_date
from watcher.web_mercator import Tile

AT_ONCE = 2
A_MINUTE = 240
"""Asked of the provider: a screen is nine tiles on a phone and two dozen on a desk."""
WAITING = 32
"""Who asks for more while so many wait is asked to come back."""
AGAIN_AFTER_S = 60.0
"""What did not come is left alone for so long."""
_MOST_REMEMBERED = 1000
MOST_BYTES = 1_000_000
MOST_PIXELS = 1024
"""Of a side: what is usual are 256 and 512."""
CACHE_BYTES = 64 * 2**20
_KEPT_S = 30 * 86_400.0
_DEADLINE_S = 12.0
_LONGEST_FRESH_S = 86_400
_TYPES = {"PNG": "image/png", "JPEG": "image/jpeg", "WEBP": "image/webp"}
_GAP = quote(KEY)
_ACCEPT = "image/webp,image/png,image/jpeg"

Lookup = Callable[[str, int], Awaitable[Sequence[str]]]
"""Takes a host and a port, returns the addresses of the host."""


class TooManyTilesError(SourceError):
    """More is asked for than a screen needs."""


@dataclass(frozen=True)
class Picture:
    """A tile as it came."""

    body: bytes
    media_type: str
    fresh_s: int | None
    """How long a device may keep it; None where nobody may."""


class TileClient:
    """Fetches tiles and keeps them. Use as an async context manager.

    ``cache`` is the path of an SQLite file; without it tiles are kept in memory. ``lookup``,
    ``network``, ``clock`` and ``ticks`` are there for tests.
    """

    def __init__(
        self,
        pictures: MapPictures,
        *,
        contact: str,
        cache: Path | None = None,
        reader: BodyReader | None = None,
        lookup: Lookup | None = None,
        network: httpx.AsyncBaseTransport | None = None,
        clock: Callable[[], float] = time.time,
        ticks: Callable[[], float] = time.monotonic,
    ) -> None:
        self.pictures = pictures
        self._clock = clock
        polite = _Polite(
            pictures, network or httpx.AsyncHTTPTransport(), lookup or _looked_up, ticks
        )
        self._feed = FeedClient(
            contact=contact,
            cache=cache,
            transport=polite,
            deadline_s=_DEADLINE_S,
            max_bytes=MOST_BYTES,
            reader=reader,
            clock=clock,
            whole=is_picture,
            kept_s=_KEPT_S,
            cache_bytes=CACHE_BYTES,
            attempts=1,
            follow_redirects=False,
        )
        self._asked = 0
        self._ticks = ticks
        self._not_before: dict[Tile, float] = {}
        self._open = AsyncExitStack()

    async def __aenter__(self) -> Self:
        await self._open.enter_async_context(self._feed)
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._open.aclose()

    async def get(self, tile: Tile) -> Picture:
        """Return a tile. Raises ``SourceError``, ``TooManyTilesError`` where too many wait."""
        if tile.z > self.pictures.greatest_zoom or not tile.is_one:
            raise SourceError("there is no such tile")
        if self._asked >= WAITING:
            raise TooManyTilesError("too many tiles are asked for at once")
        if self._ticks() < self._not_before.get(tile, -math.inf):
            raise SourceError("this tile did not come a moment ago")
        self._asked += 1
        try:
            return await self._ask(tile)
        except TooManyTilesError:
            raise
        except SourceError:
            if len(self._not_before) >= _MOST_REMEMBERED:
                self._not_before.clear()
            self._not_before[tile] = self._ticks() + AGAIN_AFTER_S
            raise
        finally:
            self._asked -= 1

    async def _ask(self, tile: Tile) -> Picture:
        body, headers = await self._feed.body(self.pictures.address(tile), accept=_ACCEPT)
        media_type = await self._feed.reader.read(partial(picture_type, body), size=len(body))
        return Picture(body, media_type, fresh_s(headers, self._clock()))


def picture_type(body: bytes) -> str:
    """Return the media type of a picture by what it is. Raises ``SourceError`` for anything else.

    Only its beginning is looked at: nothing is unpacked here.
    """
    from PIL import Image  # noqa: PLC0415 - only the process that reads what came needs it

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(body), formats=tuple(_TYPES)) as found:
                size, kind = found.size, found.format or ""
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, Warning) as error:
        raise SourceError("what came is no PNG, JPEG or WebP; check the address") from error
    if max(size) > MOST_PIXELS:
        raise SourceError(f"a tile is {size[0]} by {size[1]} pixels, over {MOST_PIXELS}")
    return _TYPES[kind]


def is_picture(body: bytes) -> bool:
    """Whether a body is a picture that is shown."""
    try:
        picture_type(body)
    except SourceError:
        return False
    return True


def fresh_s(headers: httpx.Headers, now: float) -> int | None:
    """Return how many seconds an answer stays fresh (RFC 9111, 4.2); None: nobody may keep it."""
    said = dict(
        part.strip().lower().partition("=")[::2]
        for part in headers.get("cache-control", "").split(",")
    )
    if "no-store" in said:
        return None
    if "no-cache" in said:
        return 0
    dated = http_date(headers.get("date", ""))
    since = max(0.0, now - (now if dated is None else dated))
    whole = said.get("max-age", "").strip('"')
    if whole.isascii() and whole.isdigit():
        left = int(whole[:9]) - since
    else:
        expires = http_date(headers.get("expires", ""))
        left = 0.0 if expires is None else expires - now
    return int(min(max(left, 0.0), _LONGEST_FRESH_S))


class _Polite(httpx.AsyncBaseTransport):
    """Below the cache: counts what goes out, fills the key in, asks the very address looked up."""

    def __init__(
        self,
        pictures: MapPictures,
        network: httpx.AsyncBaseTransport,
        lookup: Lookup,
        ticks: Callable[[], float],
    ) -> None:
        self._pictures, self._network = pictures, network
        self._lookup, self._ticks = lookup, ticks
        self._few = asyncio.Semaphore(AT_ONCE)
        self._lately: deque[float] = deque(maxlen=A_MINUTE)

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        async with self._few:
            now = self._ticks()
            if len(self._lately) == A_MINUTE and now - self._lately[0] < 60.0:
                raise TooManyTilesError(f"{A_MINUTE} tiles were asked for within a minute")
            self._lately.append(now)
            response = await self._network.handle_async_request(await self._leading(request))
            # Whole while its turn lasts, and counted as it comes.
            body = bytearray()
            try:
                async for part in cast("AsyncIterable[bytes]", response.stream):
                    body += part
                    if len(body) > MOST_BYTES:
                        raise SourceError(f"a tile has over {MOST_BYTES} bytes; check the address")
            finally:
                await response.aclose()
            return httpx.Response(
                response.status_code, headers=response.headers, stream=httpx.ByteStream(bytes(body))
            )

    async def aclose(self) -> None:
        await self._network.aclose()

    async def _leading(self, request: httpx.Request) -> httpx.Request:
        """The request to the address its host has now, which is on the open network.

        An owner who wants one in their own network names it by its number.
        """
        url = request.url
        if url.host != self._pictures.host:
            raise SourceError("tiles come from the host of the address alone")
        port = url.port or (443 if url.scheme == "https" else 80)
        at = url.host
        if not _is_number(url.host) and url.host != "localhost":
            found = await self._lookup(url.host, port)
            if not found or not all(map(is_public, found)):
                raise SourceError(
                    f"{url.host} is not on the open network; write its address in numbers if it "
                    "is meant"
                )
            at = found[0]
        key = self._pictures.key
        filled = str(url)
        if key is not None:
            filled = filled.replace(_GAP, quote(key.get_secret_value(), safe=""))
        sent = httpx.Request(
            request.method,
            httpx.URL(filled).copy_with(host=at),
            headers=request.headers,
            extensions={**request.extensions, "sni_hostname": url.host},
        )
        sent.headers["Host"] = url.netloc.decode("ascii")
        return sent


def _is_number(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


async def _looked_up(host: str, port: int) -> Sequence[str]:
    try:
        found = await asyncio.get_running_loop().getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise SourceError(f"nobody knows the host {host}; check the address") from error
    return [str(one[4][0]) for one in found]
