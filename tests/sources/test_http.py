"""The HTTP client: politeness (RFC 9110, RFC 9111), and that nothing broken gets through."""

import asyncio
import gzip
import json
import random
import sqlite3
from collections.abc import AsyncIterator, Callable
from email.utils import formatdate
from pathlib import Path

import httpx
import pytest
import respx
from structlog.testing import capture_logs

from watcher.sources.base import SourceError
from watcher.sources.http import FeedClient, StatusError


def unread(body: object) -> object:
    """Return a body as it stands."""
    return body


NOW = 1_781_272_800  # 2026-06-12T14:00:00Z
URL = "https://feed.example/weather"
Responder = Callable[[httpx.Request], httpx.Response]


class Clock:
    def __init__(self) -> None:
        self.now = float(NOW)

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """The machine's clock, which the cache goes by, in the test's hands."""
    clock = Clock()
    monkeypatch.setattr("time.time", clock)
    return clock


class Feed:
    """A server that answers each request with the next of ``answers`` (the last one for ever)."""

    def __init__(self, *answers: httpx.Response | Exception) -> None:
        self.answers = list(answers)
        self.requests: list[httpx.Request] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        answer = self.answers[min(len(self.requests), len(self.answers) - 1)]
        # A copy: the cache takes its own headers off again once the request is sent.
        self.requests.append(httpx.Request("GET", request.url, headers=request.headers))
        if isinstance(answer, Exception):
            raise answer
        return httpx.Response(answer.status_code, headers=answer.headers, content=answer.content)


class Sleeps(list[float]):
    async def __call__(self, seconds: float) -> None:
        self.append(seconds)


@pytest.fixture
def sleeps() -> Sleeps:
    return Sleeps()


@pytest.fixture
async def client_of(
    clock: Clock, sleeps: Sleeps
) -> AsyncIterator[Callable[[Responder], FeedClient]]:
    opened: list[FeedClient] = []

    def make(feed: Responder, **more: object) -> FeedClient:
        client = FeedClient(
            contact="grower@farm.example",
            transport=httpx.MockTransport(feed),
            sleep=sleeps,
            rng=random.Random(1),
            clock=clock,
            **more,  # type: ignore[arg-type]
        )
        opened.append(client)
        return client

    yield make
    for client in opened:
        await client.__aexit__()


def ok(body: object, **headers: str) -> httpx.Response:
    return httpx.Response(
        200, json=body, headers={k.replace("_", "-"): v for k, v in headers.items()}
    )


def date(at: float) -> str:
    return formatdate(at, usegmt=True)


async def test_a_request_says_who_asks_and_what_it_takes(client_of) -> None:
    feed = Feed(ok({}))
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW, accept="application/geo+json")
    assert "grower@farm.example" in feed.requests[0].headers["user-agent"]
    assert feed.requests[0].headers["accept"] == "application/geo+json"


@pytest.mark.parametrize("contact", ["", "  ", "bauer@höfe.example", "a\nb"])
def test_a_client_without_a_usable_contact_is_refused(contact: str) -> None:
    with pytest.raises(ValueError, match="contact"):
        FeedClient(contact=contact)


@pytest.mark.parametrize(
    "fresh",
    [{"cache_control": "max-age=300"}, {"expires": date(NOW + 300), "date": date(NOW)}],
    ids=["max-age", "expires"],
)
async def test_nothing_is_asked_before_it_expires(client_of, clock: Clock, fresh) -> None:
    feed = Feed(ok([1], **fresh))
    async with client_of(feed) as client:
        first = await client.get(URL, read=unread, now=NOW)
        clock.now += 299
        second = await client.get(URL, read=unread, now=NOW + 299)
        assert len(feed.requests) == 1
        clock.now += 2
        third = await client.get(URL, read=unread, now=NOW + 301)
    assert len(feed.requests) == 2
    assert [first.fetched_at, second.fetched_at, third.fetched_at] == [NOW, NOW, NOW + 301]


async def test_an_unexpired_answer_can_be_rechecked(client_of) -> None:
    feed = Feed(ok([1], cache_control="max-age=300", etag='"v1"'), httpx.Response(304))
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW)
        assert (await client.get(URL, read=unread, now=NOW, recheck=True)).data == [1]
    assert feed.requests[1].headers["if-none-match"] == '"v1"'


async def test_an_answer_that_names_no_expiry_is_checked_every_time(client_of, clock) -> None:
    """RFC 9111 4.2.2 lets a cache guess from Last-Modified; for weather it must not."""
    feed = Feed(ok([1], last_modified=date(NOW - 86_400)))
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW)
        clock.now += 60
        await client.get(URL, read=unread, now=NOW + 60)
    assert len(feed.requests) == 2


@pytest.mark.parametrize("dated", [{}, {"date": "yesterday"}, {"date": date(NOW + 86_400)}])
async def test_an_undated_or_misdated_answer_grows_old_all_the_same(
    client_of, clock: Clock, dated
) -> None:
    feed = Feed(ok([1], cache_control="max-age=300", **dated))
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW)
        clock.now += 301
        await client.get(URL, read=unread, now=NOW + 301)
    assert len(feed.requests) == 2


async def test_no_answer_is_kept_longer_than_six_hours(client_of, clock: Clock) -> None:
    feed = Feed(ok([1], cache_control="max-age=31536000"))
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW)
        clock.now += 6 * 3600 + 1
        await client.get(URL, read=unread, now=NOW + 6 * 3600 + 1)
    assert len(feed.requests) == 2


@pytest.mark.parametrize("last_modified", [date(NOW - 60), date(NOW + 2 * 86_400), "Fri, 12 Jun"])
async def test_a_changed_body_is_asked_for_with_the_exact_last_modified(
    client_of, clock: Clock, last_modified: str
) -> None:
    """The string is echoed as it came, also when it lies in the future or is no date at all."""
    feed = Feed(
        ok({"a": 1}, last_modified=last_modified, etag='"v1"', cache_control="max-age=10"),
        httpx.Response(304, headers={"last-modified": last_modified, "etag": '"v1"'}),
        ok({"a": 2}, cache_control="max-age=10"),
    )
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW)
        clock.now += 60
        unchanged = await client.get(URL, read=unread, now=NOW + 60)
        clock.now += 60
        changed = await client.get(URL, read=unread, now=NOW + 120)
    assert feed.requests[1].headers["if-modified-since"] == last_modified
    assert feed.requests[1].headers["if-none-match"] == '"v1"'
    assert (unchanged.data, unchanged.fetched_at) == ({"a": 1}, NOW + 60)
    assert (changed.data, changed.fetched_at) == ({"a": 2}, NOW + 120)


async def test_the_cache_file_outlives_the_process(client_of, clock, tmp_path: Path) -> None:
    feed = Feed(ok([1], cache_control="max-age=300"))
    for _ in range(2):
        async with client_of(feed, cache=tmp_path / "feeds.db") as client:
            answer = await client.get(URL, read=unread, now=NOW)
    assert len(feed.requests) == 1
    assert answer.data == [1]


async def test_a_cache_file_of_something_else_is_told_at_the_start(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "farm.db") as other:
        other.execute("create table entries (a)")
    other.close()
    client = FeedClient(contact="a@b.example", cache=tmp_path / "farm.db")
    with pytest.raises(RuntimeError):
        await client.__aenter__()
    await client.__aexit__()


@pytest.mark.parametrize(
    "broken",
    [
        httpx.Response(200, content=b'{"wind": [1, 2', headers={"last-modified": date(NOW)}),
        httpx.Response(200, html="<html>sign in to the hotel</html>"),
        httpx.Response(200, content=b'{"wind": NaN}'),
        httpx.Response(200, content=b'{"wind": 1e999}'),
        httpx.Response(200, content=b'{"wind": 1, "wind": 2}'),
        httpx.Response(200, content=b"[" * 100_000),
        httpx.Response(200, content=b"[" + b"9" * 5_000 + b"]"),
        httpx.Response(200, content=b'"\xff\xfe"'),
        httpx.Response(200, content=b""),
    ],
    ids=["cut", "html", "nan", "1e999", "twice", "deep", "huge", "not utf-8", "empty"],
)
async def test_a_body_that_is_not_whole_json_is_an_error_and_is_not_remembered(
    client_of, broken: httpx.Response
) -> None:
    broken.headers["cache-control"] = "max-age=3600"
    feed = Feed(broken, ok([1]))
    async with client_of(feed) as client:
        with pytest.raises(SourceError, match=r"feed\.example/weather answered 200 .* not whole"):
            await client.get(URL, read=unread, now=NOW)
        assert (await client.get(URL, read=unread, now=NOW)).data == [1]
    assert "if-modified-since" not in feed.requests[1].headers


async def test_a_compressed_body_is_read_and_one_cut_short_is_an_error(client_of) -> None:
    packed = gzip.compress(json.dumps(list(range(5000))).encode())
    headers = {"content-encoding": "gzip"}
    whole = httpx.Response(200, stream=httpx.ByteStream(packed), headers=headers)
    cut = httpx.Response(200, stream=httpx.ByteStream(packed[:-900]), headers=headers)
    async with client_of(lambda _: whole) as client:
        assert (await client.get(URL, read=unread, now=NOW)).data == list(range(5000))
    async with client_of(lambda _: cut) as client:
        with pytest.raises(SourceError):
            await client.get(URL, read=unread, now=NOW)


async def test_a_body_over_the_size_cap_is_refused(client_of) -> None:
    async with client_of(Feed(ok("x" * 2000)), max_bytes=1000) as client:
        with pytest.raises(SourceError, match="more than 1000 bytes"):
            await client.get(URL, read=unread, now=NOW)


@pytest.mark.parametrize(
    "passing",
    [
        httpx.Response(503, text="busy"),
        httpx.Response(500),
        httpx.ConnectError("no route"),
        httpx.ReadTimeout("slow"),
        httpx.RemoteProtocolError("cut off"),
    ],
    ids=str,
)
async def test_a_passing_failure_is_tried_again_after_growing_pauses(
    client_of, sleeps: Sleeps, passing
) -> None:
    feed = Feed(passing, passing, passing, ok([1]))
    async with client_of(feed) as client:
        assert (await client.get(URL, read=unread, now=NOW)).data == [1]
    assert len(sleeps) == 3
    for pause, longest in zip(sleeps, [1, 2, 4], strict=True):
        assert longest / 2 <= pause <= longest


async def test_a_lasting_failure_ends_in_an_error_that_names_it(client_of, sleeps) -> None:
    feed = Feed(httpx.Response(503, json={"title": "x", "detail": "grid has expired"}))
    async with client_of(feed) as client:
        with pytest.raises(StatusError, match=r"503.*grid has expired") as found:
            await client.get(URL, read=unread, now=NOW)
    assert found.value.status == 503
    assert len(feed.requests) == 4


async def test_an_error_status_with_an_expiry_is_never_remembered(client_of) -> None:
    gone = httpx.Response(404, json={}, headers={"cache-control": "max-age=3600"})
    feed = Feed(gone, ok([1]))
    async with client_of(feed) as client:
        with pytest.raises(StatusError):
            await client.get(URL, read=unread, now=NOW)
        assert (await client.get(URL, read=unread, now=NOW)).data == [1]


@pytest.mark.parametrize("status", [400, 401, 403, 404, 422, 204, 304])
async def test_a_refusing_status_is_not_tried_again(client_of, sleeps, status: int) -> None:
    feed = Feed(httpx.Response(status, html="<h1>Access Denied</h1>" if status > 400 else None))
    async with client_of(feed) as client:
        with pytest.raises(StatusError, match=str(status)):
            await client.get(URL, read=unread, now=NOW)
    assert (len(feed.requests), sleeps) == (1, [])


@pytest.mark.parametrize("after", ["10", date(NOW + 10)], ids=["seconds", "date"])
async def test_a_short_retry_after_is_waited_out(client_of, sleeps: Sleeps, after: str) -> None:
    feed = Feed(httpx.Response(429, headers={"retry-after": after}), ok([1]))
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW)
    assert 10 <= sleeps[0] <= 11


@pytest.mark.parametrize(
    ("after", "seconds"),
    [("3600", 3600), (date(NOW + 3600), 3600), ("999999999999", 6 * 3600), (None, 60)],
)
async def test_a_feed_that_asks_for_a_long_rest_is_left_alone_until_then(
    client_of, clock: Clock, sleeps: Sleeps, after: str | None, seconds: int
) -> None:
    headers = {"retry-after": after} if after else {}
    feed = Feed(httpx.Response(429, headers=headers), ok([1]))
    async with client_of(feed) as client:
        with pytest.raises(StatusError, match="429"):
            await client.get(URL, read=unread, now=NOW)
        clock.now += seconds - 1
        with pytest.raises(SourceError, match="left alone"):
            await client.get(URL, read=unread, now=NOW)
        assert len(feed.requests) == 1
        clock.now += 2
        await client.get(URL, read=unread, now=NOW)
    assert sleeps == []


async def test_a_deprecated_product_is_read_and_logged_loudly(client_of) -> None:
    with capture_logs() as logs:
        async with client_of(Feed(httpx.Response(203, json=[1]))) as client:
            assert (await client.get(URL, read=unread, now=NOW)).data == [1]
    assert [(log["log_level"], log["status"]) for log in logs] == [("warning", 203)]


def all_bytes(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.iterdir())


async def test_a_secret_reaches_the_server_and_nothing_else(
    client_of, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    feed = Feed(ok([1], cache_control="max-age=300"), httpx.Response(403))
    caplog.set_level("DEBUG")
    async with client_of(feed, cache=tmp_path / "feeds.db") as client:
        answer = await client.get(
            URL + "?token=s3cr3t&x=1", read=unread, now=NOW, params={"apikey": "hush"}
        )
        with pytest.raises(StatusError) as found:
            await client.get(URL + "2", read=unread, now=NOW, params={"apikey": "hush"})
    assert dict(feed.requests[0].url.params) == {"x": "1", "token": "s3cr3t", "apikey": "hush"}
    kept = all_bytes(tmp_path)
    for secret in ("hush", "s3cr3t"):
        assert secret not in str(found.value) + answer.url + caplog.text
        assert secret.encode() not in kept


async def test_a_secret_is_not_carried_to_another_host_by_a_redirect(client_of) -> None:
    moved = httpx.Response(302, headers={"location": "https://elsewhere.example/w?b=1"})
    feed = Feed(moved, ok([1]))
    async with client_of(feed) as client:
        await client.get(URL, read=unread, now=NOW, params={"apikey": "hush"})
    assert str(feed.requests[1].url) == "https://elsewhere.example/w?b=1"


@pytest.mark.parametrize(
    "url",
    [
        "https://me:pw@feed.example/x",
        "ftp://feed.example/x",
        "https://[::1",
        "",
        "feed",
        "https://",
    ],
)
async def test_an_address_that_cannot_be_asked_is_a_source_error(client_of, url: str) -> None:
    async with client_of(Feed(ok([1]))) as client:
        with pytest.raises(SourceError) as found:
            await client.get(url, read=unread, now=NOW)
    assert "pw" not in str(found.value)


async def test_endless_redirects_are_a_source_error(client_of) -> None:
    feed = Feed(httpx.Response(302, headers={"location": URL}))
    async with client_of(feed) as client:
        with pytest.raises(SourceError, match="TooManyRedirects"):
            await client.get(URL, read=unread, now=NOW)


async def test_respx_answers_in_place_of_the_network(respx_mock: respx.MockRouter) -> None:
    """The other sources' tests stand on this: respx sits below the cache."""
    last_modified = "Fri, 12 Jun 2026 14:00:00 GMT"
    route = respx_mock.get(URL).mock(
        side_effect=[
            httpx.Response(200, json=[1], headers={"last-modified": last_modified}),
            httpx.Response(304),
        ]
    )
    async with FeedClient(contact="a@b.example") as client:
        await client.get(URL, read=unread, now=NOW)
        again = await client.get(URL, read=unread, now=NOW)
    assert route.calls[1].request.headers["if-modified-since"] == last_modified
    assert again.data == [1]


async def test_a_server_that_trickles_is_given_up_at_the_deadline() -> None:
    """Each byte comes well within a read timeout; only a total deadline ends this."""

    async def trickle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n")
        try:
            while True:
                writer.write(b" ")
                await writer.drain()
                await asyncio.sleep(0.02)
        except (ConnectionError, asyncio.CancelledError):
            writer.close()

    server = await asyncio.start_server(trickle, "127.0.0.1", 0)
    host, port = server.sockets[0].getsockname()
    loop = asyncio.get_running_loop()
    async with server, FeedClient(contact="a@b.example", deadline_s=0.3) as client:
        began = loop.time()
        with pytest.raises(SourceError, match=r"in full within 0\.3 s"):
            await client.get(f"http://{host}:{port}/", read=unread, now=NOW)
        took = loop.time() - began
    assert 0.3 <= took < 5


async def test_a_connection_cut_before_the_promised_end_is_an_error(sleeps: Sleeps) -> None:
    async def cut(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n[1]")
        writer.close()

    server = await asyncio.start_server(cut, "127.0.0.1", 0)
    host, port = server.sockets[0].getsockname()
    async with server, FeedClient(contact="a@b.example", sleep=sleeps) as client:
        with pytest.raises(SourceError, match="RemoteProtocolError"):
            await client.get(f"http://{host}:{port}/", read=unread, now=NOW)
    assert len(sleeps) == 3
