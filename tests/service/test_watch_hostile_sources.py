"""Whatever a source sends or does costs that source, is told in its health, and ends nothing."""

import asyncio
import contextlib
import gzip
import json
import os
import signal
import time
from collections.abc import AsyncGenerator, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from sqlalchemy.exc import IntegrityError
from structlog.testing import capture_logs

from tests.service.test_watch import CALM, NOON, ranked
from tests.sources.feeds import test_nws
from tests.support.farms import build, watched_tables
from tests.support.receiver import Receiver
from tests.support.running import SetClock, put_forecast, running
from tests.support.service_process import TOKEN, Service, write_farm
from watcher.delivery.worker import DeliveryWorker
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service import watch as watch_module
from watcher.service.left_out import FIRST_S, LONGEST_S, LeftOut
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.sources.base import (
    MOST_FORECAST_TIMES,
    Forecast,
    Observations,
    Polled,
    PolledSource,
    SourceError,
)
from watcher.sources.body_process import BodyProcess
from watcher.sources.body_reader import BrokenReadError
from watcher.sources.forked_readers import Limits
from watcher.sources.http import FeedClient
from watcher.store import health, weather
from watcher.store.database import Database
from watcher.store.tables import SourceHealth
from watcher.weather.series import Site, WeatherSeries

pytestmark = pytest.mark.long

BREAKING = [
    KeyError("x"),
    RecursionError("too deep"),
    MemoryError(),
    ValueError("a bug"),
    IntegrityError("INSERT", {}, Exception("NOT NULL constraint failed")),
    BrokenReadError.by("killed"),
]


class Scripted:
    """A feed that does at each poll what it is told, the last for ever."""

    name, attribution, every_s = "feed", "", 1800.0

    def __init__(self, *does: Exception | Polled) -> None:
        self.does = list(does)
        self.asked = 0

    async def poll(self, now: int) -> Polled:
        del now
        done = self.does[min(self.asked, len(self.does) - 1)]
        self.asked += 1
        if isinstance(done, Exception):
            raise done
        return done


@pytest.fixture
def farm() -> Farm:
    return build(watched_tables())


@pytest.fixture
def clock() -> SetClock:
    return SetClock(NOON)


@pytest.fixture
def reader() -> Iterator[BodyProcess]:
    made = BodyProcess(Limits(wall_s=20.0))
    yield made
    made.close()


def watching(farm: Farm, log: Database, clock: SetClock, source: PolledSource) -> Watch:
    delivery = DeliveryWorker(log, farm, {}, now=clock.now)
    return Watch(Transactions(FarmArrays.of(farm), log, clock), {"feed": source}, delivery)


def known(log: Database, source: str = "feed") -> SourceHealth:
    with log.reading() as session:
        return next(h for h in health.all_sources(session) if h.source == source)


@pytest.mark.parametrize("error", BREAKING, ids=lambda error: type(error).__name__)
async def test_whatever_a_poll_raises_is_told_in_its_health(
    farm: Farm, log: Database, clock: SetClock, error: Exception
) -> None:
    watch = watching(farm, log, clock, Scripted(error))
    with capture_logs() as logged:
        await watch.ask("feed")
    assert known(log).state == "failing"
    assert "broke its reader" in str(known(log).why)
    assert [line["source"] for line in logged if line["log_level"] == "error"] == ["feed"]


async def test_a_source_that_breaks_its_reader_twice_is_left_out_and_asked_again_later(
    farm: Farm, log: Database, clock: SetClock
) -> None:
    bug, good = KeyError("x"), Polled.nothing_new()
    source = Scripted(bug, bug, bug, good, bug, good)
    watch = watching(farm, log, clock, source)
    await watch.ask("feed")
    assert "left out" not in str(known(log).why)
    await watch.ask("feed")
    assert "left out until 16:15 UTC" in str(known(log).why)
    for later, asked in ((0, 2), (FIRST_S - 1, 2), (1, 3), (2 * FIRST_S - 1, 3), (1, 4), (0, 5)):
        clock.at += later
        await watch.ask("feed")
        assert source.asked == asked
    assert known(log).state == "failing"  # once more, which alone does not leave it out
    await watch.ask("feed")
    assert (source.asked, known(log).state) == (6, "answering")


async def test_an_ordinary_failure_leaves_nothing_out(
    farm: Farm, log: Database, clock: SetClock
) -> None:
    source = Scripted(SourceError("not to be had"))
    watch = watching(farm, log, clock, source)
    for _ in range(5):
        await watch.ask("feed")
    assert (source.asked, known(log).why) == (5, "not to be had")


def test_a_source_is_left_out_twice_as_long_each_time_up_to_a_bound() -> None:
    left_out, now, waits = LeftOut(), NOON, []
    for _ in range(40):
        left_out.broke("feed", now)
        waits.append(left_out.wait_s("feed", now))
        now += waits[-1]
        assert left_out.wait_s("feed", now) == 0
    assert waits[:5] == [0, FIRST_S, 2 * FIRST_S, 4 * FIRST_S, 8 * FIRST_S]
    assert set(waits[6:]) == {LONGEST_S}
    assert left_out.wait_s("another", now) == 0


def test_a_clock_set_back_ends_what_leaves_a_source_out() -> None:
    left_out = LeftOut()
    left_out.broke("feed", NOON)
    left_out.broke("feed", NOON)
    assert left_out.wait_s("feed", NOON - 86_400) == 0


async def test_a_forecast_of_a_million_hours_is_refused(
    farm: Farm, log: Database, clock: SetClock
) -> None:
    times = NOON + 60 * np.arange(MOST_FORECAST_TIMES + 1)
    series = WeatherSeries.of(times, Site(41.0, -96.0), "feed", {})
    source = Scripted(Polled(forecast=Forecast(series, NOON, NOON, "")))
    await watching(farm, log, clock, source).ask("feed")
    assert "at once" in str(known(log).why)
    with log.reading() as session:
        assert weather.latest_forecast(session, "feed", NOON) is None


@contextlib.asynccontextmanager
async def nws(grid: Any, reports: Any) -> Any:
    """The feed of the National Weather Service with these bodies, named as the farm has it."""
    bodies = {"gridpoints": grid, "points": test_nws.points(), "observations": reports}

    def answer(request: httpx.Request) -> httpx.Response:
        path = request.url.path
        return httpx.Response(200, json=next(b for end, b in bodies.items() if end in path))

    transport = httpx.MockTransport(answer)
    async with FeedClient(contact="a@b.example", transport=transport) as client:
        source = test_nws.source(client, "KAHQ")
        source.name = "feed"
        yield source, bodies


async def test_a_feed_that_does_not_say_its_elevation_is_kept(farm: Farm, log: Database) -> None:
    clock = SetClock(test_nws.NOW)
    grid, reports = test_nws.grid(), test_nws.reports(test_nws.report(5))
    del grid["properties"]["elevation"]
    del reports["features"][0]["properties"]["elevation"]
    async with nws(grid, reports) as (source, bodies):
        watch = watching(farm, log, clock, source)
        await watch.ask("feed")
        assert known(log).state == "answering"
        with log.reading() as session:
            kept = weather.latest_forecast(session, "feed", clock.at)
            measured = weather.observations(session, "feed", clock.at - 3600, clock.at)
        assert kept is not None
        assert np.isnan(kept.series.site.elevation_m)
        assert np.isnan(measured.series.site.elevation_m)
        bodies["gridpoints"] = test_nws.grid()
        forecast = (await source.poll(clock.at + 60)).forecast
        bodies["gridpoints"] = grid
        left_out = (await source.poll(clock.at + 120)).forecast
    assert forecast is not None
    assert left_out is not None
    assert left_out.series.site.elevation_m == forecast.series.site.elevation_m == 367.9


class Breaking:
    """A station that speaks by itself and breaks twice, each time after a reading."""

    name = "mast"

    def __init__(self) -> None:
        self.opened = 0

    async def stream(self) -> AsyncGenerator[Observations | SourceError, None]:
        self.opened += 1
        site = Site(41.0, -96.0, wind_height_m=0.628)
        said = {"wind_m_s": [2.2], "gust_m_s": [3.0], "wind_from_deg": [10.0]}
        air = {"temp_c": [20.0], "humidity_pct": [55.0]}
        yield Observations(WeatherSeries.of([NOON - 60 + self.opened], site, "mast", said | air))
        if self.opened < 3:
            raise KeyError("a bug")
        await asyncio.Event().wait()


async def test_a_stream_that_breaks_is_opened_again_and_ends_nothing(
    farm: Farm, log: Database, clock: SetClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch_module, "_HEARD_AGAIN_S", 0.01)
    stream = Breaking()
    put_forecast(log, NOON)
    async with running(farm, log, clock, streams={"mast": stream}) as service:
        async with asyncio.timeout(20):
            while stream.opened < 3 or ranked(service)["hill"] is not Status.SUITABLE:
                await service.judged()


class Unkeepable:
    """A station whose second reading cannot be kept, and its third can."""

    name = "mast"

    async def stream(self) -> AsyncGenerator[Observations | SourceError, None]:
        site = Site(41.0, -96.0, wind_height_m=0.628)
        for place, at in ((site, NOON - 120), (Site(float("nan"), -96.0), NOON - 60), (site, NOON)):
            said = {"wind_m_s": [2.2], "gust_m_s": [3.0], "wind_from_deg": [10.0]}
            yield Observations(WeatherSeries.of([at], place, "mast", said))
        await asyncio.Event().wait()


async def test_a_reading_that_cannot_be_kept_costs_itself(
    farm: Farm, log: Database, clock: SetClock
) -> None:
    with capture_logs() as logged:
        async with running(farm, log, clock, streams={"mast": Unkeepable()}) as service:
            async with asyncio.timeout(20):
                while _newest(log) != NOON:
                    await service.judged()
    assert any("IntegrityError" in str(line.get("why")) for line in logged)


def _newest(log: Database) -> int | None:
    with log.reading() as session:
        return weather.newest_time(session, "mast")


REPEATED = b"{" + b",".join(b'"k%d":1' % (n // 2) for n in range(22_000)) + b"}"


async def test_posts_that_harm_are_refused_and_the_next_is_judged(
    farm: Farm, log: Database, clock: SetClock, reader: BodyProcess
) -> None:
    put_forecast(log, NOON)
    async with running(farm, log, clock, reader=reader) as service:
        post = partial(
            service.http.post,
            "/api/v1/stations/mast/readings",
            headers={"Content-Type": "application/json"},
        )
        assert len(REPEATED) > 200_000
        refused = await post(content=REPEATED)
        assert (refused.status_code, "given twice" in refused.text) == (422, True)
        assert (await post(content=b"[" * 200_000)).status_code == 422
        packed = await service.http.post(
            "/api/v1/stations/mast/readings",
            content=gzip.compress(b"[]"),
            headers={"Content-Type": "application/json", "Content-Encoding": "gzip"},
        )
        assert (packed.status_code, "Content-Encoding" in packed.text) == (415, True)
        assert (await service.post(**CALM)).json()["new"] == 1
        await service.judged()
        assert ranked(service)["hill"] is Status.SUITABLE


class Killed:
    """A reader whose process is killed over what it reads, once."""

    def __init__(self) -> None:
        self.kills = 1

    async def read(self, work: Any, *, size: int) -> Any:
        del size
        self.kills -= 1
        if self.kills >= 0:
            raise BrokenReadError.by("it took too long or too much memory, or was killed")
        return work()


async def test_a_post_whose_reader_is_killed_is_answered_told_and_may_be_sent_again(
    farm: Farm, log: Database, clock: SetClock
) -> None:
    async with running(farm, log, clock, reader=Killed()) as service:
        refused = await service.post(**CALM)
        assert refused.status_code == 503
        assert "send it again" in refused.json()["wrong"]
        assert known(log, "mast").state == "failing"
        assert (await service.post(**CALM)).json()["new"] == 1
        assert known(log, "mast").state == "answering"


async def test_only_so_many_posts_of_a_station_wait(
    farm: Farm, log: Database, clock: SetClock
) -> None:
    go = asyncio.Event()

    class Slow:
        async def read(self, work: Any, *, size: int) -> Any:
            del size
            await go.wait()
            return work()

    async with running(farm, log, clock, reader=Slow()) as service:
        posts = [asyncio.create_task(service.post(**CALM)) for _ in range(30)]
        done, _ = await asyncio.wait(posts, return_when=asyncio.FIRST_COMPLETED)
        assert {post.result().status_code for post in done} == {503}
        go.set()
        codes = [post.status_code for post in await asyncio.gather(*posts)]
    assert set(codes) == {200, 503}
    assert codes.count(200) == 21


async def test_a_feed_that_breaks_its_reader_at_every_start_ends_no_watch(
    farm: Farm, log: Database, clock: SetClock
) -> None:
    """It is asked first after a start, as any feed is; the watch goes on without it."""
    reader = BodyProcess(Limits(wall_s=20.0, memory=32 * 2**20))
    put_forecast(log, NOON, source="another")

    def answer(_request: httpx.Request) -> httpx.Response:
        return httpx.Response(200, content=b"[" + b"[]," * 2_600_000 + b"[]]")

    for _ in range(2):
        transport = httpx.MockTransport(answer)
        async with FeedClient(contact="a@b.example", transport=transport, reader=reader) as client:
            source = test_nws.source(client)
            source.name = "feed"
            async with running(
                farm, log, clock, sources={"feed": source}, reader=reader
            ) as service:
                assert (await service.post(**CALM)).status_code == 200
                await service.judged()
                async with asyncio.timeout(60):
                    while not _failing(log):
                        await service.judged()
                await service.judged()
                clock.at += 60
    reader.close()
    assert "broke its reader" in str(known(log).why)


def _failing(log: Database) -> bool:
    with log.reading() as session:
        found = [h for h in health.all_sources(session) if h.source == "feed"]
    return bool(found) and found[0].state == "failing"


def test_the_service_reads_in_a_process_apart_and_stops_in_order(tmp_path: Path) -> None:
    write_farm(tmp_path)
    receiver = Receiver()
    with Service(tmp_path, receiver.url().get_secret_value()) as service:
        service.start()
        assert _children(service.pid) == []  # nothing to read, no process
        assert _post(service, REPEATED) == 422
        [child] = _children(service.pid)
        os.kill(child, signal.SIGKILL)
        assert _post(service, _day()) == 200
        [another] = _children(service.pid)
        assert another != child
        for number in (another, service.pid):  # as a service manager stops a unit: all at once
            os.kill(number, signal.SIGTERM)
        assert service.stop() == 0
        assert not Path(f"/proc/{another}").exists()
    receiver.close()
    assert "Traceback" not in (tmp_path / "output.txt").read_text()


def _children(pid: int) -> list[int]:
    return [int(n) for n in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def _post(service: Service, body: bytes) -> int:
    return httpx.post(
        f"http://127.0.0.1:{service.port}/api/v1/stations/mast/readings",
        content=body,
        headers={"Authorization": f"Bearer {TOKEN}", "Content-Type": "application/json"},
        timeout=60.0,
    ).status_code


def _day() -> bytes:
    """Readings of some hours, more than is read in place."""
    now = time.time()
    times = [time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now - 60 * n)) for n in range(300)]
    return json.dumps([{"time": at, "wind": "5 mph"} for at in times]).encode()
