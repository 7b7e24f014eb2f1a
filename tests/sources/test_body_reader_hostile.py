"""Bodies made to harm, through every reader: refused or known, bounded, and the next is read."""

import asyncio
import contextlib
import gzip
import json
import time
import zlib
from collections.abc import AsyncIterator, Callable, Iterator
from functools import partial
from typing import Any

import httpx
import pytest

from tests.sources.feeds import test_mapped_json, test_met_norway, test_nws, test_open_meteo
from tests.sources.stations import test_sensorthings
from watcher.sources import json_text
from watcher.sources.base import PolledSource, SourceError
from watcher.sources.body_process import BodyProcess
from watcher.sources.body_reader import BodyReader, BrokenReadError, InPlace
from watcher.sources.feeds import nws_bodies
from watcher.sources.forked_readers import Limits
from watcher.sources.http import FeedClient
from watcher.sources.stations import readings, senml
from watcher.sources.stations.bad_reading import BadReadingError
from watcher.sources.stations.metar import MetarSource, MetarText
from watcher.sources.stations.mqtt_payload import Mapped, MappedValue, Payload
from watcher.sources.stations.rows import number
from watcher.units import Kind, UnreadableQuantityError, read
from watcher.weather.series import Site

pytestmark = pytest.mark.long

NOW = 1_781_272_800  # 2026-06-12T14:00:00Z
SITE = Site(41.0, -96.0)


def _hostile() -> Iterator[tuple[str, bytes]]:
    """Name and bytes of every body that is meant to harm."""
    yield "nothing", b""
    yield "a mark only", b"\xef\xbb\xbf"
    yield "not utf-8", b"\xff" * 10_000
    yield "cut", b'{"a": [1, 2'
    yield "not a number", b'{"a": NaN}'
    yield "beyond a float", b"[1e999, -1e999]"
    yield "a number of digits", b"9" * 500_000
    yield "a fraction of digits", b"0." + b"9" * 500_000
    yield "deep lists", b"[" * 200_000
    yield "deep and closed", b"[" * 50_000 + b"]" * 50_000
    yield "deep objects", b'{"a":' * 100_000
    yield "repeated keys", b"{" + b",".join(b'"k%d":1' % (n // 2) for n in range(40_000)) + b"}"
    yield "one key again and again", b"{" + b'"time":1,' * 40_000 + b'"time":1}'
    yield "many keys", b"{" + b",".join(b'"k%d":[]' % n for n in range(40_000)) + b"}"
    yield "many lists", b"[" + b"[]," * 150_000 + b"[]]"
    yield "many objects", b"[" + b"{}," * 80_000 + b"{}]"
    yield "a long text", b'["' + b"a" * 500_000 + b'"]'
    yield "a long key", b'{"' + b"a" * 500_000 + b'": 1}'
    yield "zeros", b"\0" * 1_000_000


HOSTILE = dict(_hostile())
LIMITS = Limits(wall_s=20.0, cpu_s=10)


@pytest.fixture
def reader() -> Iterator[BodyProcess]:
    made = BodyProcess(LIMITS)
    yield made
    made.close()


class Feed:
    """Answers with one body, whatever it is asked; without one as the feed itself would."""

    def __init__(self, good: Callable[[httpx.Request], httpx.Response]) -> None:
        self.good = good
        self.body: bytes | None = None

    def __call__(self, request: httpx.Request) -> httpx.Response:
        return self.good(request) if self.body is None else httpx.Response(200, content=self.body)


def _of(**bodies: Any) -> Callable[[httpx.Request], httpx.Response]:
    def answer(request: httpx.Request) -> httpx.Response:
        path = request.url.path
        return httpx.Response(200, json=next(b for end, b in bodies.items() if end in path))

    return answer


def _sensorthings() -> Callable[[httpx.Request], httpx.Response]:
    service = test_sensorthings.Service()
    service.observations["(1)"] = [test_sensorthings.seen(-60, 3.0)]
    return service


SOURCES: dict[str, tuple[Callable[[FeedClient], PolledSource], Any, int]] = {
    "open meteo": (
        test_open_meteo.source,
        _of(forecast=test_open_meteo.body()),
        test_open_meteo.NOW,
    ),
    "met norway": (
        test_met_norway.source,
        _of(complete=test_met_norway.body()),
        test_met_norway.NOW,
    ),
    "nws": (
        partial(test_nws.source, station="KAHQ"),
        _of(
            gridpoints=test_nws.grid(),
            points=test_nws.points(),
            observations=test_nws.reports(test_nws.report(5)),
        ),
        test_nws.NOW,
    ),
    "mapped observations": (
        test_mapped_json.station,
        _of(obs=test_mapped_json.observations()),
        NOW,
    ),
    "mapped forecast": (test_mapped_json.model, _of(obs=test_mapped_json.forecast()), NOW),
    "sensorthings": (test_sensorthings.station, _sensorthings(), NOW),
}


@contextlib.asynccontextmanager
async def asking(feed: Feed, reader: BodyReader) -> AsyncIterator[FeedClient]:
    async def no_sleep(seconds: float) -> None:
        del seconds

    transport = httpx.MockTransport(feed)
    async with FeedClient(
        contact="a@b.example", transport=transport, sleep=no_sleep, reader=reader
    ) as client:
        yield client


@contextlib.asynccontextmanager
async def alive() -> AsyncIterator[None]:
    """Hold that the loop went on turning: it never stood still for long."""
    gaps: list[float] = []

    async def tick() -> None:
        last = time.monotonic()
        while True:
            await asyncio.sleep(0.01)
            now = time.monotonic()
            gaps.append(now - last)
            last = now

    task = asyncio.create_task(tick())
    yield
    task.cancel()
    assert max(gaps, default=0.0) < 5.0


@pytest.mark.parametrize("kind", SOURCES)
async def test_a_feed_refuses_what_harms_and_reads_the_next(kind: str, reader: BodyProcess) -> None:
    make, good, now = SOURCES[kind]
    feed = Feed(good)
    async with asking(feed, reader) as client, alive():
        for done, body in HOSTILE.items():
            feed.body = body
            with pytest.raises(SourceError) as found:
                await make(client).poll(now)
            assert len(str(found.value)) < 5000, done
        feed.body = None
        polled = await make(client).poll(now)
        assert polled.observations or polled.forecast


@pytest.mark.parametrize("content_type", ["application/json", "application/senml+json"])
async def test_a_post_refuses_what_harms_and_reads_the_next(
    content_type: str, reader: BodyProcess
) -> None:
    async with alive():
        for done, whole in HOSTILE.items():
            body = whole[: readings.MAX_BYTES]
            work = partial(readings.parse, body, content_type, now=NOW, site=SITE, source="mast")
            with pytest.raises(BadReadingError) as found:
                await reader.read(work, size=len(body))
            assert len(str(found.value)) < 2000, done
        good = json.dumps([_one(content_type, n) for n in range(200)]).encode()
        work = partial(readings.parse, good, content_type, now=NOW, site=SITE, source="mast")
        assert len((await reader.read(work, size=len(good))).series) == 200


def _one(content_type: str, minutes_ago: int) -> dict[str, Any]:
    at = NOW - 60 * minutes_ago
    if content_type == "application/senml+json":
        return {"n": "wind", "u": "m/s", "v": 3.0, "t": at}
    return {"time": f"{_iso(at)}", "wind": "3 m/s"}


def _iso(at: int) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(at))


def test_a_mapped_message_refuses_what_harms() -> None:
    mapped = Mapped([MappedValue.of("wind", topic="farm/#", at="a[0].wind", unit="m/s")])
    for body in HOSTILE.values():
        with pytest.raises(ValueError, match=r".+"):
            mapped.rows(Payload("farm/mast", body[: readings.MAX_BYTES], kept=False), NOW)
    good = b'{"a": [{"wind": 3}]}'
    assert mapped.rows(Payload("farm/mast", good, kept=False), NOW) == {NOW: {"wind_m_s": 3.0}}


HOSTILE_TEXTS = {
    "titles": b"METAR " * 40_000,
    "spaces": b"KXYZ 121355Z" + b" " * 200_000 + b"x",
    "corrections": b"TAF" + b" COR" * 200_000,
    "heads": b"KABC 121355Z " * 40_000,
    "a long report": b"KXYZ 121355Z " + b"32005KT " * 60_000,
    "one long word": b"KXYZ 121355Z " + b"3" * 500_000,
    "slashes": b"KXYZ 121355Z " + b"/" * 500_000,
    "no text": bytes(range(256)) * 2000,
}


class GivenBody:
    def __init__(self, body: bytes) -> None:
        self.body = body

    async def read(self, now: int) -> MetarText:
        return MetarText(self.body, "the test", now)


@pytest.mark.parametrize("body", HOSTILE_TEXTS.values(), ids=HOSTILE_TEXTS)
async def test_an_aerodrome_text_that_harms_is_refused_or_read(
    body: bytes, reader: BodyProcess
) -> None:
    texts = GivenBody(body)
    station = MetarSource(
        name="a", station="KXYZ", texts=texts, every_s=600.0, site=SITE, reader=reader
    )
    async with alive():
        with contextlib.suppress(SourceError):
            found = (await station.poll(NOW)).observations
            assert found is not None
            assert found.series.times.tolist() == [NOW - 300]
        texts.body = b"KXYZ 121355Z 32005KT 22/12"
        assert (await station.poll(NOW)).observations is not None


class _Stream(httpx.AsyncByteStream):
    def __init__(self, body: bytes) -> None:
        self.body = body
        self.given = 0

    async def __aiter__(self) -> AsyncIterator[bytes]:
        for start in range(0, len(self.body), 4096):
            self.given = start
            yield self.body[start : start + 4096]


def _packed(body: bytes, encoding: str) -> httpx.Response:
    return httpx.Response(200, headers={"Content-Encoding": encoding}, stream=_Stream(body))


def _once(body: bytes) -> bytes:
    return gzip.compress(body, mtime=0)


BOMB = _once(b"[" + b" " * 30_000_000 + b"]")


@pytest.mark.parametrize(
    ("body", "encoding", "why"),
    [
        (_once(BOMB), "gzip, gzip", "not taken"),
        (BOMB, "gzip", "more than"),
        (zlib.compress(b" " * 20_000_000), "deflate", "more than"),
        (_once(b"[1]") * 3, "gzip", "more follows"),
        (_once(b"[1]") + b"junk", "gzip", "more follows"),
        (_once(b"[1, 2, 3]")[:-9], "gzip", "cut short"),
        (b"", "gzip", "not whole JSON"),
        (b"[1]", "gzip", "damaged"),
        (b"[1]", "br", "not taken"),
        (b"[1]", "zstd", "not taken"),
        (b"\x1f\x8b\x08\x08\0\0\0\0\0\0" + b"n" * 9_000_000, "gzip", "more than"),
        (b" " * 9_000_000, "identity", "more than"),
    ],
    ids=lambda value: value if isinstance(value, str) else str(len(value)),
)
async def test_what_is_packed_is_counted_as_it_is_unpacked(
    body: bytes, encoding: str, why: str
) -> None:
    feed = Feed(lambda _: _packed(body, encoding))
    async with asking(feed, InPlace()) as client, alive():
        with pytest.raises(SourceError, match=why):
            await client.get("https://feed.example/", read=_unread, now=NOW)


@pytest.mark.parametrize("encoding", ["gzip", "x-gzip", "GZIP", "deflate", "identity", ""])
async def test_what_is_packed_once_is_read(encoding: str) -> None:
    pack = {"deflate": zlib.compress, "identity": bytes, "": bytes}.get(encoding, _once)
    asked: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request.headers["accept-encoding"])
        return _packed(pack(json.dumps([1] * 50_000).encode()), encoding)

    async with asking(Feed(answer), InPlace()) as client:
        found = await client.get("https://feed.example/", read=_unread, now=NOW)
    assert found.data == [1] * 50_000
    assert asked == ["gzip"]


def _unread(body: object) -> object:
    return body


async def test_a_double_bomb_is_not_even_taken_in() -> None:
    """A few kB that would be gigabytes: refused by the header, and nothing is unpacked."""
    stream = _Stream(_once(BOMB))
    headers = {"Content-Encoding": "gzip, gzip"}
    feed = Feed(lambda _: httpx.Response(200, headers=headers, stream=stream))
    async with asking(feed, InPlace()) as client:
        with pytest.raises(SourceError):
            await client.get("https://feed.example/", read=_unread, now=NOW)
    assert stream.given == 0


async def test_a_refusal_with_a_harmful_body_is_told_by_its_status(reader: BodyProcess) -> None:
    feed = Feed(lambda _: httpx.Response(404, content=HOSTILE["deep lists"]))
    async with asking(feed, reader) as client:
        with pytest.raises(SourceError, match="answered 404"):
            await client.get("https://feed.example/", read=_unread, now=NOW)


def _keys(count: int) -> bytes:
    return b"{" + b",".join(b'"k%d":1' % n for n in range(count)) + b',"k%d":1}' % (count - 1)


def _refused(work: Callable[[], object]) -> None:
    with contextlib.suppress(ValueError):
        work()


GROWING: dict[str, Callable[[int], Callable[[], object]]] = {
    "repeated keys": lambda n: partial(json_text.loads, _keys(n)),
    "digits of a number": lambda n: partial(number, "1" * (10 * n) + "x"),
    "a quantity": lambda n: partial(read, " " * n + "1" * n + "\nx", Kind.SPEED),
    "a unit": lambda n: partial(Kind.SPEED.scale, "m" * 20 * n),
    "senml": lambda n: partial(
        list, senml.resolve([{"n": "wind", "v": 1.0, "bn": "a/"}] * (n // 4), now=NOW)
    ),
    "reports": lambda n: partial(
        nws_bodies.station_observations,
        test_nws.reports(*[test_nws.report(m) for m in range(n // 50)]),
        source="us",
        place=test_nws.PLACE,
        elevation_m=0.0,
        wind_height_m=10.0,
        oldest=0,
        now=test_nws.NOW,
    ),
}


@pytest.mark.parametrize("what", GROWING)
def test_reading_takes_time_in_proportion(what: str) -> None:
    """Sixteen times as much takes sixteen times as long, not 256 times."""

    def took(size: int) -> float:
        best = float("inf")
        for _ in range(3):
            work = GROWING[what](size)
            started = time.process_time()
            _refused(work)
            best = min(best, time.process_time() - started)
        return best

    few, many = took(1000), took(16_000)
    assert many < 80 * max(few, 0.0005)


def test_a_quantity_of_many_characters_is_refused() -> None:
    with pytest.raises(UnreadableQuantityError, match="over 100 characters"):
        read("1" * 200 + " m/s", Kind.SPEED)


async def test_a_body_that_takes_too_much_memory_costs_itself() -> None:
    reader = BodyProcess(Limits(memory=48 * 2**20))
    body = b"[" + b"[]," * 2_000_000 + b"[]]"
    async with alive():
        with pytest.raises(BrokenReadError, match=r"[Mm]emory"):
            await reader.read(partial(json_text.loads, body), size=len(body))
        assert await reader.read(partial(json_text.loads, b"[1]" + b" " * 5000), size=5003) == [1]
    reader.close()
