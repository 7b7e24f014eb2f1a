"""A sign of life to an address of the user's choice, which raises the alarm when it stops coming.

The one thing the watch cannot tell is that it is dead: whoever listens at that address can.
"""

import asyncio
from collections.abc import Callable
from http import HTTPStatus

import httpx
import structlog
from pydantic import SecretStr

log = structlog.get_logger("watcher.heartbeat")

EVERY_S = 60.0
_TIMEOUT_S = 15.0


class Heartbeat:
    """Calls one URL every minute, as long as the watch is well. The URL is never logged."""

    def __init__(self, url: SecretStr, every_s: float = EVERY_S) -> None:
        """``every_s`` is in the machine's seconds."""
        self._url = url
        self._every_s = every_s
        self._failing = False

    async def run(self, well: Callable[[], bool]) -> None:
        """Beat until cancelled, and skip a beat whenever ``well`` says no; it may take its time."""
        async with httpx.AsyncClient() as client:
            while True:
                if await asyncio.to_thread(well):
                    await self.beat(client)
                await asyncio.sleep(self._every_s)

    async def beat(self, client: httpx.AsyncClient) -> bool:
        """Call the URL once; returns whether it answered well. Never raises."""
        why = await self._call(client)
        if why and not self._failing:
            log.warning("the heartbeat is not heard", why=why)
        elif self._failing and not why:
            log.info("the heartbeat is heard again")
        self._failing = bool(why)
        return not why

    async def _call(self, client: httpx.AsyncClient) -> str:
        try:
            async with asyncio.timeout(_TIMEOUT_S):  # httpx has no limit on the whole call
                async with client.stream("GET", self._url.get_secret_value()) as answer:
                    status = answer.status_code
        except (httpx.HTTPError, httpx.InvalidURL, TimeoutError) as error:
            return type(error).__name__  # its text may hold the URL
        return "" if status < HTTPStatus.BAD_REQUEST else f"answered {status}"
