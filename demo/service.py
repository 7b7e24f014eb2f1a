"""The real service, as ``watcher run`` starts it, but on the demo's clock."""

import asyncio
import os
import signal
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

import httpx
from pydantic import SecretStr

from demo.clock import FastClock
from demo.loopback import HOST
from demo.phone import Phones
from watcher.delivery.worker import DeliveryWorker
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.chances import ChanceKeeper
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.service.source_factory import polled_sources
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.sources.http import FeedClient
from watcher.store import outbox
from watcher.store.database import Database
from watcher.web.app import Keys, create_app
from watcher.web.auth.sessions import SessionStore
from watcher.web.listening import listen
from watcher.web.server import serve

STATION, FEED = "mast", "feed"
TOKEN = "an-invented-token-of-the-mast"
WITHIN_S = 120.0
"""So long is waited for an answer: the machine may be slow, or busy with other work. [machine s]"""
_CHANCES_OF_S = 3600


@dataclass(frozen=True)
class Service:
    """The running service and where it answers."""

    watch: Watch
    url: str

    async def settled(self) -> None:
        """Wait until what was posted last is judged and every message is out."""
        judged = self.watch.judged  # the judgement of what was posted is not yet made
        async with asyncio.timeout(WITHIN_S):
            async with self.watch.changed:
                await self.watch.changed.wait_for(lambda: self.watch.judged > judged)
            while await asyncio.to_thread(self._unsent):  # noqa: ASYNC110  # no event tells
                await asyncio.sleep(0.01)

    async def chances_known(self, now: int) -> None:
        """Wait until the chances of the last hour are worked out."""
        async with asyncio.timeout(WITHIN_S):
            while self._chances_at() < now - _CHANCES_OF_S:  # noqa: ASYNC110  # no event tells
                await asyncio.sleep(0.05)

    def _chances_at(self) -> int:
        known = self.watch.transactions.chances
        return known.at if known else 0

    def _unsent(self) -> int:
        with self.watch.transactions.store.reading() as session:
            counts = outbox.counts(session)
        return counts.get("waiting", 0) + counts.get("sending", 0)


@asynccontextmanager
async def running(
    farm: Farm, log: Database, clock: FastClock, content: Phones
) -> AsyncIterator[Service]:
    """Run the service on a free port of this machine, and stop it in order with SIGTERM.

    Should it stop by itself, or be interrupted, the block is cancelled.
    """
    urls = {name: content.url(name) for name in farm.config.recipients}
    async with FeedClient(contact="demo@example.invalid") as client:
        sessions = SessionStore(None)
        delivery = DeliveryWorker(log, farm, urls, now=clock.now, speed=clock.speed)
        transactions = Transactions(FarmArrays.of(farm), log, clock)
        watch = Watch(
            transactions,
            polled_sources(farm, client, {}),
            delivery,
            chances=ChanceKeeper(transactions.plan, log),
            keeps_plan=False,  # hours are seconds here; the demo works out what it prints
        )
        secrets = Secrets(given={SecretKind.STATION: {STATION: SecretStr(TOKEN)}})
        app = create_app(watch, Keys(sessions, secrets))
        port = _free_port()
        serving = asyncio.create_task(serve(watch, app, listen(HOST, port)))
        block = asyncio.current_task()

        def cancel(_: asyncio.Task[None]) -> None:
            if block is not None:
                block.cancel()

        serving.add_done_callback(cancel)
        try:
            service = Service(watch, f"http://{HOST}:{port}")
            await _ready(service)
            yield service
        finally:
            serving.remove_done_callback(cancel)
            if not serving.done():
                os.kill(os.getpid(), signal.SIGTERM)
            await serving
            sessions.close()


async def _ready(service: Service) -> None:
    """Wait until the service answers and has a forecast."""
    async with (
        asyncio.timeout(WITHIN_S),
        httpx.AsyncClient(base_url=service.url, trust_env=False, timeout=WITHIN_S) as client,
    ):
        while not await _has_forecast(client):  # noqa: ASYNC110  # asked over HTTP
            await asyncio.sleep(0.02)


async def _has_forecast(client: httpx.AsyncClient) -> bool:
    try:
        health: dict[str, Any] = (await client.get("/health")).json()
    except httpx.TransportError:
        return False
    return any(source["name"] == FEED and not source["stale"] for source in health["sources"])


def _free_port() -> int:
    with socket.socket() as asked:
        asked.bind((HOST, 0))
        port: int = asked.getsockname()[1]
        return port
