"""A short story of a job whose wind rises, lived by the real watch and courier in virtual time.

Calm, a job begins, a gust over its bound; the station falls silent and speaks again. Every
experiment tells it with something broken and hands back what happened.
"""

import asyncio
import contextlib
import errno
import json
import logging
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from typing import Any

import numpy as np
import structlog

from tests.faults.invariants import Arrival, Fault, History, Look, Reading, Span
from tests.support import job_steps
from tests.support.breaking import Strikes
from tests.support.farms import build, watched_tables
from tests.support.lies import (
    FEED,
    MAST,
    TRUE_BUT_FOR_DIRECTION,
    TRUE_FEED,
    TRUE_MAST,
    LyingFeed,
)
from tests.support.new_log import new_log
from tests.support.receiver import Answer, Receiver, status
from tests.support.running import put_forecast
from tests.support.skies import MORNING
from tests.support.virtual_time import SteadyLoop, VirtualLoop, run
from watcher.delivery.worker import DeliveryWorker
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.clock import WallClock
from watcher.service.source_factory import polled_sources
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.sources.base import Polled, PolledSource, SourceError
from watcher.sources.http import FeedClient
from watcher.sources.stations.bad_reading import BadReadingError, UnlikelyTimeError
from watcher.sources.stations.readings import parse
from watcher.store import jobs
from watcher.store.database import Database
from watcher.store.errors import LogError
from watcher.weather.series import Site

SILENT_AFTER_S = 60.0
WIND_BOUND_MPH, GUST_BOUND_MPH = 10.0, 15.0
STARTS_S = 30.0
CALM, GUSTS = (5.0, 7.0), (8.0, 19.0)
# What the mast says when: wind and gust in mph by second. Silent from 100 s to 240 s.
SCRIPT: Mapping[int, tuple[float, float]] = {
    **dict.fromkeys((20, 40), CALM),
    **dict.fromkeys((60, 80, 100, 240, 260, 280, 300), GUSTS),
}
ENDS_S = 330.0
_POSTS_AGAIN_S = 5.0
_TRIED_AGAIN_S = 60.0
"""A phone that failed for a minute or two is tried again within this time."""
_LOOKS_EVERY_S = 30.0
_SITE = Site(41.0, -96.0, wind_height_m=0.628)


def lab_farm(recipients: int = 2, **sources: Mapping[str, Any]) -> Farm:
    """One field and an impatient mast beside it; those who hear of jobs; more sources if told."""
    config = watched_tables()
    config["fields"].pop("creek_side")
    config["neighbours"].pop("orchard")
    config["setups"] = {"coarse": config["setups"]["coarse"]}
    config["sources"]["mast"] |= {"silent_after": "60 s"}
    config["sources"] |= sources
    people = {"grower": {"hears": ["job"]}, "operator": {"hears": ["job"], "form": "sms"}}
    config["recipients"] = dict(list(people.items())[:recipients])
    return build(config)


@dataclass(frozen=True)
class Experiment:
    """What is done to the story. Seconds of the laboratory throughout."""

    name: str
    strikes: Mapping[str, frozenset[int]] = field(default_factory=dict)
    """Numbers of the occasions that fail, by kind (``breaking.Strikes``)."""
    jumps: Sequence[tuple[float, float]] = ()
    """When the machine's clock jumps, and by how much."""
    phone_fails: Span | None = None
    """While it lasts no message is taken."""
    script: Mapping[int, tuple[float, float]] = field(default_factory=lambda: dict(SCRIPT))
    ends_s: float = ENDS_S
    two_hear: bool = False
    feed: str | None = None
    """A feed that is asked, and the lie it answers with (``lies.FEED``); "" is the truth."""
    mast: str | None = None
    """What the mast says instead of the truth (``lies.MAST``); another station tells it then."""

    @property
    def lies(self) -> bool:
        return bool(self.feed or self.mast)


@dataclass
class Outcome:
    """What came of an experiment."""

    experiment: Experiment
    history: History
    struck: list[tuple[str, int]]
    counts: Mapping[str, int]


class Asked:
    """A real source, asked on a loop of the machine's own time."""

    attribution = ""
    every_s = 60.0

    def __init__(self, name: str, farm: Farm, strikes: Strikes) -> None:
        self.name, self._farm, self._strikes = name, farm, strikes

    async def poll(self, now: int) -> Polled:
        return await asyncio.to_thread(self._poll, now)

    def _poll(self, now: int) -> Polled:
        with asyncio.Runner(loop_factory=lambda: ConnectingLoop(self._strikes)) as runner:
            return runner.run(self._ask(now))

    async def _ask(self, now: int) -> Polled:
        async def no_pause(_seconds: float) -> None:
            pass

        async with FeedClient(contact="grower@farm.example", sleep=no_pause) as client:
            return await polled_sources(self._farm, client, {})[self.name].poll(now)


class ConnectingLoop(SteadyLoop):
    """Some of its connections fail."""

    def __init__(self, strikes: Strikes) -> None:
        super().__init__()
        self._strikes = strikes

    async def create_connection(self, *args: Any, **more: Any) -> Any:
        if self._strikes.number("connect"):
            raise ConnectionRefusedError(errno.ECONNREFUSED, "refused")
        return await super().create_connection(*args, **more)


class Story:
    """One experiment being lived."""

    def __init__(
        self,
        experiment: Experiment,
        folder: Path,
        loop: VirtualLoop,
        receiver: Receiver,
        farm: Farm,
    ) -> None:
        self.experiment, self.loop, self.receiver, self.farm = experiment, loop, receiver, farm
        self.strikes = Strikes(experiment.strikes)
        receiver.choose = self._answer
        url = f"sqlite:///{folder / 'watch.db'}"
        # A log of its own for what others do beside the watch; its faults are not theirs.
        self.beside = Database(url, lasting=False)
        self.store = Database(url, lasting=False)
        self.strikes.break_log(self.store)
        self.plan = FarmArrays.of(farm)
        self.history = History(
            recipients=tuple(farm.config.recipients),
            wind_bound_mph=WIND_BOUND_MPH,
            gust_bound_mph=GUST_BOUND_MPH,
            silent_after_s=SILENT_AFTER_S,
            ends=experiment.ends_s,
            # No field of this farm is judged by the wind's direction.
            ahead_known=not experiment.lies or experiment.feed in TRUE_BUT_FOR_DIRECTION,
        )
        if experiment.phone_fails is not None:
            down = Fault("phone", experiment.phone_fails, settles_s=_TRIED_AGAIN_S)
            self.history.faults.append(down)

    def _answer(self, request: BaseHTTPRequestHandler) -> Answer | None:
        fails = self.experiment.phone_fails
        if fails is not None and fails.holds(self.loop.time()):
            return status(500)
        return self.strikes.answer(request)

    async def live(self, sources: Mapping[str, PolledSource]) -> Outcome:
        """Live it to its end."""
        clock, stop = WallClock(), asyncio.Event()
        urls = {name: self.receiver.url(name) for name in self.farm.config.recipients}
        delivery = DeliveryWorker(self.store, self.farm, urls, now=clock.now)
        self.watch = Watch(Transactions(self.plan, self.store, clock), sources, delivery)
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self.watch.run(stop))
            others = [
                tasks.create_task(each)
                for each in (self._spraying(), self._jumping(), self._looking(), self._noting())
            ]
            if self.experiment.mast is not None:
                others.append(tasks.create_task(self._lying()))
            await self._speaking()
            await asyncio.sleep(max(0.0, self.experiment.ends_s - self.loop.time()))
            for other in others:
                other.cancel()
            self._gather()
            with self.beside.writing() as session:
                for job in jobs.open_jobs(session):
                    job_steps.finish(session, job.id, clock.now())
            stop.set()
        self.store.close()
        self.beside.close()
        return Outcome(self.experiment, self.history, self.strikes.struck, self.strikes.counts)

    async def until(self, second: float) -> None:
        await asyncio.sleep(max(0.0, second - self.loop.time()))

    async def _speaking(self) -> None:
        """The mast posts each reading until it is taken, as a station does."""
        for second, (wind, gust) in self.experiment.script.items():
            await self.until(second)
            self.history.readings.append(Reading(second, wind, gust))
            await self.post(self._honest, MORNING + second, wind, gust)

    @property
    def _honest(self) -> str:
        return "mast" if self.experiment.mast is None else "yard"

    async def _lying(self) -> None:
        """The mast posts a lie beside every reading of the other station."""
        found = dict(TRUE_MAST | MAST[self.experiment.mast or ""])
        off = found.pop("time", 0)
        for second in self.experiment.script:
            await self.until(second - 1)
            now = WallClock().now()
            time = f"{np.datetime64(now + off, 's')}Z" if isinstance(off, int) else off
            body = json.dumps(found | {"time": time}).encode()
            with suppress(BadReadingError, SourceError, LogError):
                await self._hand_over("mast", body)

    async def post(self, source: str, at: int, wind_mph: float, gust_mph: float) -> None:
        """Hand one reading over, again and again until the watch can keep it."""
        # Readings that never change would be a stuck sensor's.
        stir = 0.1 * (at // 30 % 3)
        values = {
            "wind": f"{wind_mph + stir} mph",
            "gust": f"{gust_mph} mph",
            "wind_from": f"{10.0 * stir} deg",
            "temperature": f"{20.0 + stir} degC",
            "humidity": f"{55.0 - stir} %",
        }
        body = json.dumps({"time": f"{np.datetime64(at, 's')}Z"} | values).encode()
        while True:
            try:
                await self._hand_over(source, body)
            except (UnlikelyTimeError, SourceError, LogError):
                await asyncio.sleep(_POSTS_AGAIN_S)
            else:
                return

    async def _hand_over(self, source: str, body: bytes) -> None:
        """Hand one posted body to the watch, as its port does."""
        watch, kind = self.watch, "application/json"
        work = partial(parse, body, kind, now=watch.clock.now(), site=_SITE, source=source)
        try:
            await watch.receive(source, work, size=len(body), dated=True)
        except UnlikelyTimeError as error:
            watch.transactions.time.contradicted(source, error.time)
            raise

    async def _spraying(self) -> None:
        await self.until(STARTS_S)
        await asyncio.to_thread(self._start)
        self.history.sprayed.append(Span(STARTS_S, self.experiment.ends_s))
        self.watch.wake()

    def _start(self) -> None:
        with self.beside.writing() as session:
            job_steps.start(session, self.plan, "hill", "coarse", WallClock().now())

    async def _jumping(self) -> None:
        begin, ahead = 0.0, 0.0
        for at, by in self.experiment.jumps:
            await self.until(at)
            self.loop.jump(by)
            ahead += by
            if ahead == by:
                begin = at
            if ahead == 0.0:
                self.history.faults.append(Fault("clock", Span(begin, at), settles_s=30.0))
        if ahead:
            self.history.faults.append(Fault("clock", Span(begin, self.experiment.ends_s)))

    async def _looking(self) -> None:
        while True:
            await asyncio.sleep(_LOOKS_EVERY_S)
            if self.watch.snapshot is not None:
                fields = self.watch.snapshot.ranking.every.items()
                suitable = frozenset(n for n, f in fields if f.status is Status.SUITABLE)
                self.history.looks.append(Look(self.loop.time(), suitable, self._ahead()))

    def _ahead(self) -> bool:
        snapshot = self.watch.snapshot
        assert snapshot is not None
        hours = snapshot.judgement.status[..., snapshot.timeline.now_index + 1 :]
        return bool((hours == Status.SUITABLE).any())

    async def _noting(self) -> None:
        """Note when something struck: for a moment nothing is undisturbed."""
        noted = 0
        while True:
            await asyncio.sleep(1.0)
            for kind, _ in self.strikes.struck[noted:]:
                what = "phone" if kind == "send" else "log"
                at = self.loop.time()
                self.history.faults.append(Fault(what, Span(at - 1.0, at)))
                noted += 1

    def _gather(self) -> None:
        self.history.unheard = self.receiver.unheard
        self.history.arrivals = [
            Arrival(push.at, push.path.strip("/"), push.title, push.body)
            for push in self.receiver.got
            if push.at <= self.experiment.ends_s
        ]


def template(folder: Path, *, forecast: bool = True) -> Path:
    """A log with its tables and a fair forecast, for every story to begin with a copy of it."""
    path = folder / "template.db"
    log = new_log(path, lasting=False)
    if forecast:
        put_forecast(log, MORNING)
    log.close()
    return path


@contextmanager
def quiet() -> Iterator[None]:
    """Nothing is written to the program's own log: it is long, and says the same every time."""
    before = structlog.get_config()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    try:
        yield
    finally:
        structlog.configure(**before)


def tell(experiment: Experiment, template: Path, folder: Path) -> Outcome:
    """Live one experiment from a copy of the template; returns what happened.

    Where somebody lies, begin with a template without a forecast: what is said of the hours ahead
    can only come from the lie then.
    """
    folder.mkdir(exist_ok=True)
    shutil.copy(template, folder / "watch.db")
    receiver = Receiver()
    with contextlib.ExitStack() as stack:
        stack.callback(shutil.rmtree, folder)
        stack.callback(receiver.close)
        more: dict[str, Any] = {}
        if experiment.mast is not None:
            more["yard"] = {"kind": "push", "heights": {"wind": "0.628 m"}, "silent_after": "60 s"}
        if experiment.feed is not None:
            say = FEED[experiment.feed] if experiment.feed else TRUE_FEED
            feed = stack.enter_context(LyingFeed(say))
            more["feed"] = {"kind": "met_norway", "base_url": feed.url}
        farm = lab_farm(2 if experiment.two_hear else 1, **more)

        async def live(loop: VirtualLoop) -> Outcome:
            story = Story(experiment, folder, loop, receiver, farm)
            asked = {} if experiment.feed is None else {"feed": Asked("feed", farm, story.strikes)}
            return await story.live(asked)

        stack.enter_context(quiet())
        return run(MORNING, live, hung=lambda: receiver.hung)
