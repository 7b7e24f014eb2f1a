"""The real service on loopback for tests: a watch with its HTTP port, fed by real posts."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import httpx
import numpy as np
from fastapi import FastAPI
from pydantic import SecretStr

from watcher.delivery.worker import DeliveryWorker
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.chances import ChanceKeeper
from watcher.service.farm_editor import FarmEditor
from watcher.service.farm_in_use import FarmInUse
from watcher.service.farm_versions import FarmVersions
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.sources.base import Forecast, PolledSource, StreamedSource
from watcher.sources.body_reader import BodyReader
from watcher.store import weather
from watcher.store.database import Database
from watcher.store.kept_file import KeptFile
from watcher.weather.series import Site, WeatherSeries
from watcher.web.app import Keys, create_app
from watcher.web.auth.sessions import SessionStore
from watcher.web.connections import Connections
from watcher.web.listening import listen
from watcher.web.server import Server

TOKEN = "a-token-long-enough-to-be-one"


class SetClock:
    """A clock the test sets."""

    speed = 1.0

    def __init__(self, at: int) -> None:
        self.at = at

    def now(self) -> int:
        return self.at


@dataclass
class Running:
    """A running service, and a client that posts to it as the station ``mast``."""

    watch: Watch
    clock: SetClock
    http: httpx.AsyncClient
    app: FastAPI

    async def post(self, **quantities: str) -> httpx.Response:
        """Post one reading of this moment."""
        moment = np.datetime64(self.clock.at, "s")
        return await self.http.post(
            "/api/v1/stations/mast/readings", json={"time": f"{moment}Z"} | quantities
        )

    async def judged(self) -> None:
        """Wait until a judgement of everything posted and set so far is done.

        Twice: the first to end may have begun before.
        """
        for _ in range(2):
            before = self.watch.judged
            self.watch.wake()
            async with asyncio.timeout(10), self.watch.changed:
                await self.watch.changed.wait_for(lambda seen=before: self.watch.judged > seen)

    async def rested(self) -> None:
        """Wait until no judgement is under way that was asked for so far."""
        await asyncio.sleep(0.05)  # for one that was asked for to begin
        await self.watch.run_on_db_thread(lambda: None)


@contextlib.asynccontextmanager
async def running(
    farm: Farm,
    store: Database,
    clock: SetClock,
    *,
    urls: Mapping[str, SecretStr] | None = None,
    sources: Mapping[str, PolledSource] | None = None,
    keys: Keys | None = None,
    streams: Mapping[str, StreamedSource] | None = None,
    reader: BodyReader | None = None,
    connections: Connections | None = None,
    standby_file: KeptFile | None = None,
    chances: bool = False,
    farm_file: Path | None = None,
    secrets_file: Path | None = None,
) -> AsyncIterator[Running]:
    """Start the service on a free port and stop it in order.

    With a ``farm_file`` the farm may change while it runs; without a ``secrets_file`` what is set
    on pages is kept in memory.
    """
    keys = keys or Keys(SessionStore(None))
    keys = replace(
        keys,
        secrets=Secrets(
            secrets_file,
            {SecretKind.STATION: {"mast": SecretStr(TOKEN)}, SecretKind.PUSH: urls or {}},
            now=clock.now(),
        ),
    )
    urls = keys.secrets.all_of(SecretKind.PUSH)
    delivery = DeliveryWorker(store, farm, urls, now=clock.now, pushes=keys.pushes)
    transactions = Transactions(
        FarmArrays.of(farm), store, clock, subscribed=keys.sessions, secrets=keys.secrets
    )
    watch = Watch(
        transactions,
        sources or {},
        delivery,
        streams=streams,
        reader=reader,
        standby_file=standby_file,
        chances=ChanceKeeper(transactions.plan, store) if chances else None,
    )
    if farm_file is not None:
        editor = FarmEditor(farm_file, FarmVersions(farm_file.parent / "versions"), clock)
        watch.farm_in_use = FarmInUse(watch, editor)
    app = create_app(watch, keys)
    [listening] = listen("127.0.0.1", 0)
    with listening:
        server = Server(app, connections)
        stop = asyncio.Event()
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(watch.run(stop))
            tasks.create_task(server.serve(sockets=[listening]))
            async with asyncio.timeout(20):
                while not (server.started and watch.judged):  # noqa: ASYNC110
                    await asyncio.sleep(0.01)
            port = listening.getsockname()[1]
            try:
                async with httpx.AsyncClient(
                    base_url=f"http://127.0.0.1:{port}",
                    headers={"Authorization": f"Bearer {TOKEN}"},
                    timeout=60,  # on a loaded machine an answer takes long, and that is no fault
                ) as http:
                    yield Running(watch, clock, http, app)
            finally:
                stop.set()
                server.should_exit = True


def put_forecast(store: Database, now: int, source: str = "feed", **quantities: Any) -> None:
    """Put a fair forecast of three days into the log, with some quantities changed."""
    times = now // 3600 * 3600 + 3600 * np.arange(-30, 80)
    fair = {
        "wind_m_s": 2.2,
        "gust_m_s": 3.0,
        "wind_from_deg": 0.0,
        "temp_c": 20.0,
        "humidity_pct": 55.0,
        "cloud_pct": 60.0,
        "rain_mm_h": 0.0,
    } | quantities
    arrays = {name: np.broadcast_to(value, times.size) for name, value in fair.items()}
    series = WeatherSeries.of(times, Site(41.0, -96.0, wind_height_m=10.0), source, arrays)
    with store.writing() as session:
        weather.add_forecast(session, Forecast(series, now - 600, now - 600, "invented"))
