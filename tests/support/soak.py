"""A long calm time lived in virtual time, and how the process grows in it."""

import asyncio
import gc
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from tests.support.receiver import Receiver
from tests.support.running import put_forecast
from tests.support.skies import MORNING
from tests.support.story import lab_farm, quiet
from tests.support.virtual_time import VirtualLoop, run
from watcher.delivery.worker import DeliveryWorker
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.clock import WallClock
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.sources.base import Observations
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

_SITE = Site(41.0, -96.0, wind_height_m=0.628)
_FORECAST_EVERY_S = 1800


@dataclass(frozen=True)
class Sample:
    """The process at a moment of the simulated time. Memory and log in MiB.

    ``own`` is what lies in no file: how many others share its libraries must not count.
    """

    hours: float
    resident: float
    own: float
    descriptors: int
    threads: int
    log: float


def _status_mib(name: str) -> float:
    lines = Path("/proc/self/smaps_rollup").read_text().splitlines()
    return sum(int(line.split()[1]) for line in lines if line.startswith(name)) / 1024


def look(hours: float, log: Path) -> Sample:
    """Look at this process, with what is only waiting to be collected out of the way."""
    gc.collect()
    return Sample(
        hours,
        resident=_status_mib("Rss"),
        own=_status_mib("Anonymous"),
        descriptors=len(list(Path("/proc/self/fd").iterdir())),
        threads=threading.active_count(),
        log=sum(p.stat().st_size for p in log.parent.glob(f"{log.name}*")) / 2**20,
    )


def soak(
    folder: Path,
    template: Path,
    *,
    every_s: int,
    hours: float,
    looks: int,
    keep_raw_s: float = np.inf,
    watching: Callable[[Sample], None] = lambda _sample: None,
) -> list[Sample]:
    """Live so many hours with a reading every so often; returns what the process looked like."""
    folder.mkdir(exist_ok=True)
    path = folder / "watch.db"
    shutil.copy(template, path)
    receiver = Receiver()

    async def live(loop: VirtualLoop) -> list[Sample]:
        farm, clock, stop = lab_farm(), WallClock(), asyncio.Event()
        store = Database(f"sqlite:///{path}", lasting=False)
        urls = {name: receiver.url(name) for name in farm.config.recipients}
        delivery = DeliveryWorker(store, farm, urls, now=clock.now)
        watch = Watch(
            Transactions(FarmArrays.of(farm), store, clock, keep_raw_s=keep_raw_s), {}, delivery
        )
        samples: list[Sample] = []
        rng, end = np.random.default_rng(7), hours * 3600
        next_look, next_forecast = 0.0, 0.0
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(watch.run(stop))
            while loop.time() < end:
                await asyncio.sleep(every_s)
                if loop.time() >= next_forecast:
                    put_forecast(store, clock.now())
                    next_forecast += _FORECAST_EVERY_S
                reading = _reading(rng, clock.now())
                await watch.receive("mast", partial(_as_it_is, reading), size=200, dated=True)
                if loop.time() >= next_look:
                    next_look += end / looks
                    samples.append(look(loop.time() / 3600, path))
                    watching(samples[-1])
            stop.set()
        store.close()
        return samples

    try:
        with quiet():
            return run(MORNING, live, hung=lambda: receiver.hung)
    finally:
        receiver.close()


def _reading(rng: np.random.Generator, at: int) -> Observations:
    """A mild day: the sun warms it, the wind breathes."""
    day = 2 * np.pi * ((at - MORNING) / 86_400)
    wind = abs(2.2 + 0.3 * np.sin(day) + rng.normal(0, 0.2))
    values = {
        "wind_m_s": wind,
        "gust_m_s": wind + abs(rng.normal(0.8, 0.2)),
        "wind_from_deg": (10 + rng.normal(0, 8)) % 360,
        "temp_c": 20 + 4 * np.cos(day) + rng.normal(0, 0.1),
        "humidity_pct": 55 - 8 * np.cos(day) + rng.normal(0, 0.5),
    }
    return Observations(
        WeatherSeries.of([at], _SITE, "mast", {n: [round(v, 2)] for n, v in values.items()})
    )


def _as_it_is(reading: Observations) -> Observations:
    return reading


@dataclass(frozen=True)
class Slope:
    """How something grows by the hour, by least squares, and how sure that is (one deviation)."""

    by_hour: float
    uncertain: float

    def __str__(self) -> str:
        return f"{self.by_hour:+.3f} ± {self.uncertain:.3f} an hour"


def slope(samples: list[Sample], what: str) -> Slope:
    """Fit a straight line through what the samples say of one thing."""
    hours = np.array([s.hours for s in samples])
    values = np.array([getattr(s, what) for s in samples], float)
    off = hours - hours.mean()
    by_hour = float(off @ values / (off @ off))
    left = values - values.mean() - by_hour * off
    spread = float(np.sqrt(left @ left / max(len(hours) - 2, 1) / (off @ off)))
    return Slope(by_hour, spread)
