"""Connections that mean no good are closed by their deadlines; those that do go on."""

import asyncio
import contextlib
import socket
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from ipaddress import ip_network

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from watcher.web.connections import (
    KEPT_DESCRIPTORS,
    LEAST_CONNECTIONS,
    MOST_CONNECTIONS,
    Connections,
    Deadlines,
    room,
)
from watcher.web.listening import listen
from watcher.web.server import Server

_WITHIN_S = 20.0
"""A closing may take so long on a busy machine; deadlines here are tenths of a second."""
_LONG = b"x" * 30_000_000
_NOBODY = (ip_network("192.0.2.0/24"),)
"""No proxies, so that loopback is one sender like any other."""


async def _echo(request: Request) -> Response:
    return PlainTextResponse(str(len(await request.body())))


async def _early(_request: Request) -> Response:
    return PlainTextResponse("no need to read it", 413)


async def _long(_request: Request) -> Response:
    return Response(_LONG)


_APP = Starlette(
    routes=[
        Route("/echo", _echo, methods=["GET", "POST"]),
        Route("/early", _early, methods=["POST"]),
        Route("/long", _long),
    ]
)


@dataclass
class Served:
    port: int
    connections: Connections
    writers: list[asyncio.StreamWriter] = field(default_factory=list)

    async def open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
        self.writers.append(writer)
        return reader, writer

    async def close(self) -> None:
        for writer in self.writers:
            writer.close()
            with contextlib.suppress(ConnectionError):
                await writer.wait_closed()


@contextlib.asynccontextmanager
async def _served(deadlines: Deadlines | None = None, most: int = 400) -> AsyncIterator[Served]:
    connections = Connections(time.monotonic, most=most, deadlines=deadlines)
    server = Server(_APP, connections)  # type: ignore[arg-type]
    sockets = listen("127.0.0.1", 0)
    serving = asyncio.create_task(server.serve(sockets))
    async with asyncio.timeout(_WITHIN_S):
        while not server.started:  # noqa: ASYNC110
            await asyncio.sleep(0.01)
    served = Served(sockets[0].getsockname()[1], connections)
    try:
        yield served
    finally:
        await served.close()
        server.should_exit = True
        await serving


async def _closed(reader: asyncio.StreamReader) -> bytes:
    """Read until the other side closes; return what it said before."""
    async with asyncio.timeout(_WITHIN_S):
        try:
            return await reader.read()
        except ConnectionError:
            return b""


async def _drip(writer: asyncio.StreamWriter, drop: bytes) -> None:
    """Send a little now and then until the other side has enough."""
    with contextlib.suppress(ConnectionError):
        while True:
            writer.write(drop)
            await writer.drain()
            await asyncio.sleep(0.05)


async def _dripping(served: Served, begun: bytes, drop: bytes) -> bytes:
    reader, writer = await served.open()
    writer.write(begun)
    dripping = asyncio.create_task(_drip(writer, drop))
    said = await _closed(reader)
    dripping.cancel()
    await asyncio.gather(dripping, return_exceptions=True)
    return said


@pytest.mark.parametrize(
    ("descriptors", "connections"),
    [
        (1_048_576, MOST_CONNECTIONS),
        (1024, MOST_CONNECTIONS),
        (512, 512 - KEPT_DESCRIPTORS),
        (64, LEAST_CONNECTIONS),
    ],
)
def test_connections_leave_descriptors_to_the_rest(descriptors: int, connections: int) -> None:
    assert room(descriptors) == connections


async def test_a_silent_connection_is_closed() -> None:
    async with _served(Deadlines(header_s=0.3)) as served:
        reader, _ = await served.open()
        assert await _closed(reader) == b""


async def test_a_head_that_comes_byte_by_byte_is_cut_off() -> None:
    async with _served(Deadlines(header_s=0.3)) as served:
        assert await _dripping(served, b"GET /echo HTTP/1.1\r\n", b"a") == b""


async def test_a_later_head_that_comes_byte_by_byte_is_cut_off_too() -> None:
    async with _served(Deadlines(header_s=0.3)) as served:
        whole = b"GET /echo HTTP/1.1\r\nHost: a\r\n\r\n"
        said = await _dripping(served, whole + b"GET /echo HTTP/1.1\r\n", b"a")
        assert said.count(b"HTTP/1.1 200") == 1


async def test_a_head_that_is_too_long_is_refused() -> None:
    async with _served() as served:
        reader, writer = await served.open()
        writer.write(b"GET /echo HTTP/1.1\r\nX: " + b"a" * 40_000)
        assert (await _closed(reader)).startswith(b"HTTP/1.1 400")


_POST = b"POST /%s HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n"


async def test_a_body_that_never_ends_is_cut_off() -> None:
    async with _served(Deadlines(body_s=0.3)) as served:
        assert await _dripping(served, _POST % b"echo", b"1\r\na\r\n") == b""


async def test_a_body_that_goes_on_after_the_answer_is_cut_off() -> None:
    async with _served(Deadlines(body_s=0.3)) as served:
        said = await _dripping(served, _POST % b"early", b"1\r\na\r\n")
        assert said.startswith(b"HTTP/1.1 413")


async def test_a_body_that_is_poured_in_is_cut_off_by_its_size() -> None:
    async with _served(Deadlines(most_body=100_000)) as served:
        said = await _dripping(served, _POST % b"early", b"ffff\r\n" + b"a" * 0xFFFF + b"\r\n")
        assert b"200" not in said


async def test_an_answer_nobody_reads_is_given_up() -> None:
    async with _served(Deadlines(unread_s=0.3)) as served:
        with socket.create_connection(("127.0.0.1", served.port)) as deaf:
            deaf.sendall(b"GET /long HTTP/1.1\r\nHost: a\r\n\r\n")
            await _until(lambda: len(served.connections) == 1)
            await _until(lambda: len(served.connections) == 0)


async def test_an_answer_read_slowly_is_read_to_its_end() -> None:
    async with _served(Deadlines(unread_s=1.0)) as served:
        reader, writer = await served.open()
        writer.write(b"GET /long HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
        count = 0
        while piece := await reader.read(1_000_000):
            count += len(piece)
            await asyncio.sleep(0.01)
        assert count > len(_LONG)


async def test_a_connection_that_is_kept_but_not_used_is_closed() -> None:
    async with _served(Deadlines(idle_s=0.3)) as served:
        reader, writer = await served.open()
        writer.write(b"GET /echo HTTP/1.1\r\nHost: a\r\n\r\n")
        assert (await _closed(reader)).startswith(b"HTTP/1.1 200")


async def test_what_is_no_http_ends_its_own_connection_only() -> None:
    async with _served() as served:
        for nonsense in (
            b"\x16\x03\x01\x00\xa5\x01",
            b"GET / HTTP/9.9\r\n\r\n",
            b"\r\n\r\n\0\r\n\r\n",
        ):
            reader, writer = await served.open()
            writer.write(nonsense)
            writer.write_eof()
            await _closed(reader)
        assert await _asks(served) == b"HTTP/1.1 200 OK"


async def test_a_new_connection_has_the_room_of_the_one_that_was_silent_longest() -> None:
    async with _served(most=8) as served:
        silent: list[tuple[asyncio.StreamReader, asyncio.StreamWriter]] = []
        for _ in range(12):
            silent.append(await served.open())
            await _until(lambda: len(served.connections) >= min(len(silent), 6))
        # Behind a proxy all have one address: it has three quarters of the room.
        assert len(served.connections) == 6
        for reader, _ in silent[:6]:
            assert await _closed(reader) == b""
        assert await _asks(served) == b"HTTP/1.1 200 OK"


async def test_connections_with_a_request_are_not_closed_for_new_ones() -> None:
    async with _served(most=4) as served:
        busy = []
        for _ in range(3):
            reader, writer = await served.open()
            writer.write(b"POST /echo HTTP/1.1\r\nHost: a\r\nContent-Length: 4\r\n\r\n")
            busy.append((reader, writer))
        await _until(lambda: len(served.connections) == 3)
        await asyncio.sleep(0.1)  # until their heads are read
        reader, writer = await served.open()
        assert await _closed(reader) == b""
        for reader, writer in busy:
            writer.write(b"last")
            async with asyncio.timeout(_WITHIN_S):
                assert await reader.readline() == b"HTTP/1.1 200 OK\r\n"


def test_one_sender_has_a_quarter_of_the_room_a_proxy_three() -> None:
    connections = Connections(time.monotonic, most=400)
    assert connections.most_of("203.0.113.5") == 100
    assert connections.most_of("127.0.0.1") == 300
    assert connections.most_of("::1") == 300
    named = Connections(time.monotonic, most=400, proxies=(ip_network("10.0.0.2/32"),))
    assert (named.most_of("10.0.0.2"), named.most_of("127.0.0.1")) == (300, 100)


async def _asks(served: Served) -> bytes:
    reader, writer = await served.open()
    writer.write(b"GET /echo HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
    said = await _closed(reader)
    return said.split(b"\r\n")[0]


async def _until(true: Callable[[], bool | Awaitable[bool]]) -> None:
    async with asyncio.timeout(_WITHIN_S):
        while not true():  # noqa: ASYNC110  # no event tells
            await asyncio.sleep(0.01)
