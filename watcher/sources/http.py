"""One polite HTTP client for every feed.

Nothing is asked again before the feed says it may have changed, every request says who asks, and
an answer is what was read of a whole JSON body, or a ``SourceError`` that names the address, the
status and the mend. Three layers: retries, the RFC 9111 cache of hishel, and below the cache
``WholeBodies``, which lets only complete JSON be remembered and adds secrets where neither the
cache nor a log sees them. Bodies are read by a ``BodyReader``, never here.
"""

import asyncio
import random
import re
import time
from collections.abc import Awaitable, Callable, Mapping
from contextlib import AsyncExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Generic, Self, TypeVar

import anysqlite
import httpx
import structlog
from hishel import AsyncSqliteStorage, CacheOptions
from hishel.httpx import AsyncCacheTransport
from tenacity import AsyncRetrying, RetryCallState, retry_if_exception_type, stop_after_attempt

from watcher.sources import json_text
from watcher.sources.base import SourceError
from watcher.sources.body_reader import BodyReader, InPlace
from watcher.sources.feeds.body import readable
from watcher.sources.whole_bodies import (
    ENCODING,
    Dated,
    WholeBodies,
    http_date,
    is_json,
    origin_of,
)

T = TypeVar("T")

ATTEMPTS = 4
PAUSE_S = (1.0, 20.0)
"""First and longest pause between attempts, before jitter."""
WAIT_IN_POLL_S = 20.0
"""A longer Retry-After ends the poll; the feed is left alone until then."""
LEAVE_ALONE_S = 6 * 3600.0
"""Longest time a Retry-After silences a feed."""
TOO_MANY_S = 60.0
"""How long a feed is left alone after a 429 that does not say."""
KEPT_S = 6 * 3600.0
"""No answer is kept longer, whatever max-age it claims: weather that old is no weather."""

_LONGEST_REFUSAL = 4096
"""Bytes of a refusal that are read for its words."""

_SECRET = re.compile(r"key|token|secret|pass|pwd|app.?id|auth|sig", re.IGNORECASE)
_RETRIED = (
    httpx.TimeoutException,
    httpx.NetworkError,
    httpx.RemoteProtocolError,
)
_MENDS = {
    400: "the request is not understood; check the source's settings",
    401: "the feed wants a key; check the source's key",
    403: "the feed refuses us; check the contact, the key and the coordinates",
    404: "nothing is there; check the address and the place",
    422: "the place lies outside what the feed covers; use another source",
    429: "asked too often; poll less often",
}

_log = structlog.get_logger(__name__)


class StatusError(SourceError):
    """The feed answered with a status that carries no weather."""

    def __init__(self, text: str, status: int) -> None:
        super().__init__(text)
        self.status = status


@dataclass(frozen=True)
class Answer(Generic[T]):
    """What was read of a feed's JSON, and when the feed last stood by it (epoch seconds): now, or,
    while it is unexpired, when it came or was last confirmed."""

    data: T
    url: str
    fetched_at: int


class _TryAgainError(Exception):
    def __init__(self, error: SourceError, after_s: float = 0.0) -> None:
        super().__init__(str(error))
        self.error = error
        self.after_s = after_s


class FeedClient:
    """The HTTP client that every polled source shares. Use as an async context manager.

    ``contact`` (a mail address or web page) goes into the User-Agent, as the feeds' terms ask.
    ``cache`` is the path of an SQLite file; without it answers are kept in memory.
    ``deadline_s`` bounds one ``get`` with all its retries. ``reader`` reads the bodies. ``sleep``,
    ``rng``, ``clock`` and ``transport`` are there for tests; the clock must agree with the
    machine's, which is what the cache goes by. ``dated`` is given the time each server puts on its
    answers. ``whole`` says which bodies may be kept, for ``kept_s`` at most and ``cache_bytes`` in
    all. A proxy from the environment is not used.
    """

    def __init__(
        self,
        *,
        contact: str,
        cache: Path | None = None,
        transport: httpx.AsyncBaseTransport | None = None,
        deadline_s: float = 60.0,
        max_bytes: int = 8 * 2**20,
        reader: BodyReader | None = None,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
        rng: random.Random | None = None,
        clock: Callable[[], float] = time.time,
        dated: Dated | None = None,
        whole: Callable[[bytes], bool] = is_json,
        kept_s: float = KEPT_S,
        cache_bytes: int = 256 * 2**20,
        attempts: int = ATTEMPTS,
        follow_redirects: bool = True,
    ) -> None:
        if not (contact.strip() and contact.isascii() and contact.isprintable()):
            raise ValueError(
                f"contact {contact!r} must be a mail address or web page in plain ASCII; "
                "feeds refuse requests that do not say who asks"
            )
        self._user_agent = f"field-weather-watch/0.1 ({contact.strip()})"
        self._cache = cache
        self._network = transport or httpx.AsyncHTTPTransport()
        self._deadline_s = deadline_s
        self._max_bytes = max_bytes
        self.reader = reader or InPlace()
        self._sleep = sleep
        self._rng = rng or random.Random()  # noqa: S311 - spreads requests, guards nothing
        self._clock = clock
        self._dated = dated
        self._whole, self._kept_s, self._cache_bytes = whole, kept_s, cache_bytes
        self._attempts, self._follow_redirects = attempts, follow_redirects
        self._not_before: dict[str, float] = {}
        self._open = AsyncExitStack()
        self._client: httpx.AsyncClient

    async def __aenter__(self) -> Self:
        storage = await self._storage()
        self._client = await self._open.enter_async_context(
            httpx.AsyncClient(
                transport=AsyncCacheTransport(
                    WholeBodies(
                        self._network,
                        self._max_bytes,
                        self._clock,
                        self.reader,
                        self._dated,
                        whole=self._whole,
                    ),
                    storage,
                    rfc=CacheOptions(shared=False),
                ),
                headers={"User-Agent": self._user_agent, "Accept-Encoding": ENCODING},
                timeout=httpx.Timeout(15.0, connect=10.0),
                follow_redirects=self._follow_redirects,
                max_redirects=5,
            )
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._open.aclose()

    async def _storage(self) -> AsyncSqliteStorage:
        connection = await anysqlite.connect(
            str(self._cache) if self._cache else ":memory:", isolation_level=None
        )
        storage = AsyncSqliteStorage(
            connection=connection, default_ttl=self._kept_s, max_size=self._cache_bytes
        )
        await storage.get_entries("")  # an unusable file is reported now, not at the first poll
        return storage

    async def get(
        self,
        url: str,
        *,
        read: Callable[[object], T],
        now: int,
        params: Mapping[str, str] | None = None,
        accept: str = "application/json",
        recheck: bool = False,
    ) -> Answer[T]:
        """Return what ``read`` makes of the JSON at ``url``, from the cache while it is unexpired.

        ``read`` is given to the ``BodyReader``: a module's function, or a ``partial`` of one. Its
        ``ValueError`` for a body that is not as documented becomes a ``SourceError``.
        ``recheck`` asks the feed whether it still holds, unexpired or not.

        Query parameters that look like a secret (apikey, token) reach the server only, never a
        log, an error or the cache. Raises ``SourceError``; ``StatusError`` for a refusing status.
        """
        headers = {"Accept": accept} | ({"Cache-Control": "no-cache"} if recheck else {})
        request = self._request(url, params or {}, headers)
        response = await self._asked(request)
        body, url = response.content, str(request.url)
        status, kind = response.status_code, _kind(response)
        work = partial(_read, body, read, url=url, status=status, kind=kind)
        data = await self.reader.read(work, size=len(body))
        fetched_at = now
        if response.extensions["caching"]["from_cache"]:
            date = http_date(response.headers.get("date", ""))
            fetched_at = min(now, int(date)) if date is not None else now
        return Answer(data=data, url=url, fetched_at=fetched_at)

    async def text(self, url: str) -> bytes:
        """Return the plain text at ``url``, never from the cache. Raises as ``get``."""
        body, _ = await self.body(url, accept="text/plain")
        return body

    async def body(self, url: str, *, accept: str) -> tuple[bytes, httpx.Headers]:
        """Return what is at ``url`` unread, with its headers: kept where ``whole`` lets it.

        Raises as ``get``.
        """
        response = await self._asked(self._request(url, {}, {"Accept": accept}))
        return response.content, response.headers

    async def _asked(self, request: httpx.Request) -> httpx.Response:
        """Return the feed's answer to a request, tried again for a while where that may help."""
        self._leave_alone(request.url)
        try:
            async with asyncio.timeout(self._deadline_s):
                response: httpx.Response = await self._retrying()(self._attempt, request)
        except TimeoutError as error:
            raise SourceError(
                f"{request.url} did not answer in full within {self._deadline_s:g} s; it is asked "
                "again at the next poll; check the line if this goes on"
            ) from error
        except _TryAgainError as again:
            raise again.error from again
        return response

    def _request(
        self, url: str, params: Mapping[str, str], headers: Mapping[str, str]
    ) -> httpx.Request:
        try:
            whole = httpx.URL(url)
            if params:
                whole = whole.copy_merge_params(dict(params))
        except httpx.InvalidURL as error:
            raise SourceError(f"the source's address cannot be read: {error}; mend it") from error
        if whole.scheme not in {"http", "https"} or not whole.host:
            raise SourceError("the source's address is not a whole web address; write https://…")
        if whole.userinfo:
            raise SourceError(
                f"the address of {whole.host} holds a user or password; write it without"
            )
        pairs = whole.params.multi_items()
        secrets = [(key, value) for key, value in pairs if _SECRET.search(key)]
        if secrets:
            plain = httpx.QueryParams([pair for pair in pairs if pair not in secrets])
            whole = whole.copy_with(params=plain) if plain else whole.copy_with(query=None)
        return self._client.build_request(
            "GET",
            whole,
            headers=headers,
            extensions={"secrets": (origin_of(whole), secrets)},
        )

    def _leave_alone(self, url: httpx.URL) -> None:
        seconds = self._not_before.get(url.host, 0.0) - self._clock()
        if seconds > 0:
            raise SourceError(
                f"{url.host} asked to be left alone for another {seconds:.0f} s; "
                "poll it less often if this goes on"
            )

    def _retrying(self) -> AsyncRetrying:
        return AsyncRetrying(
            sleep=self._sleep,
            stop=stop_after_attempt(self._attempts),
            wait=self._pause,
            retry=retry_if_exception_type(_TryAgainError),
            reraise=True,
        )

    def _pause(self, state: RetryCallState) -> float:
        first, longest = PAUSE_S
        pause = min(longest, first * 2.0 ** (state.attempt_number - 1))
        failure = state.outcome.exception() if state.outcome else None
        after_s = failure.after_s if isinstance(failure, _TryAgainError) else 0.0
        return after_s + pause * self._rng.uniform(0.5, 1.0)

    async def _attempt(self, request: httpx.Request) -> httpx.Response:
        try:
            response = await self._client.send(request)
        except _RETRIED as error:
            raise _TryAgainError(
                SourceError(
                    f"{request.url} could not be reached ({type(error).__name__}: {error}); "
                    "it is asked again at the next poll; check the line if this goes on"
                )
            ) from error
        except httpx.HTTPError as error:
            raise SourceError(
                f"{request.url} could not be asked ({type(error).__name__}: {error}); "
                "check the source's address"
            ) from error
        await self._check(response, request.url)
        return response

    async def _check(self, response: httpx.Response, url: httpx.URL) -> None:
        """Raise unless the status carries a body to read; a 304 was answered by the cache."""
        status = response.status_code
        if status == httpx.codes.NON_AUTHORITATIVE_INFORMATION:
            _log.warning(
                "feed version is deprecated and will end; move to its successor",
                url=str(url),
                status=status,
            )
        elif status == httpx.codes.NO_CONTENT:
            raise StatusError(f"{url} answered 204: it has nothing for this place now", status)
        elif status != httpx.codes.OK:
            await self._refused(response, url)

    async def _refused(self, response: httpx.Response, url: httpx.URL) -> None:
        status = response.status_code
        mend = _MENDS.get(status, "it is asked again at the next poll")
        body = response.content[:_LONGEST_REFUSAL]
        words = await self.reader.read(partial(_words, body), size=len(body))
        said = f": {words!a}" if words else f" ({_kind(response)})"
        error = StatusError(f"{url} answered {status}{said}; {mend}", status)
        after_s = self._retry_after(response)
        if after_s > WAIT_IN_POLL_S:
            self._not_before[url.host] = self._clock() + min(after_s, LEAVE_ALONE_S)
            raise error
        if after_s or status >= httpx.codes.INTERNAL_SERVER_ERROR:
            raise _TryAgainError(error, after_s)
        raise error

    def _retry_after(self, response: httpx.Response) -> float:
        """Return how many seconds the feed asks to wait, 0 when it does not say (RFC 9110)."""
        text = response.headers.get("retry-after", "").strip()
        if text.isascii() and text.isdigit():
            return float(text[:9])
        date = http_date(text)
        if date is not None:
            return max(0.0, date - self._clock())
        return TOO_MANY_S if response.status_code == httpx.codes.TOO_MANY_REQUESTS else 0.0


def _read(body: bytes, read: Callable[[object], T], *, url: str, status: int, kind: str) -> T:
    """Return what ``read`` makes of a JSON body that ``url`` answered with."""
    try:
        data = json_text.loads(body)
    except ValueError as error:
        raise SourceError(
            f"{url} answered {status} with a body that is not whole JSON ({kind}, {len(body)} "
            f"bytes: {error}); it is asked again at the next poll; check that the address is the "
            "feed's"
        ) from error
    with readable(url):
        return read(data)


def _kind(response: httpx.Response) -> str:
    kind: str = response.headers.get("content-type", "no content type")
    return kind[:60]


def _words(body: bytes) -> str:
    """Return a feed's own words of refusal (RFC 9457 problem, or a plain reason), else ""."""
    try:
        problem = json_text.loads(body)
    except ValueError:
        return ""
    return json_text.first_text(problem, ["detail", "reason", "title", "message"])[:200]
