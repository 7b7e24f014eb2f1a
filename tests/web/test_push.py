"""Web Push: an alert reaches a subscribed device, for it alone to read, signed by the watch."""

import asyncio
import base64
import contextlib
import json
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import http_ece
import pytest
import structlog
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from tests.support import job_steps
from tests.support.visiting import CALM, Visited, visited
from watcher.web.auth.sessions import Subscription
from watcher.web.push import Pusher

_AUTH = bytes(range(16))


class PushService(ThreadingHTTPServer):
    """A push service on loopback that keeps what it is given."""

    def __init__(self, status: int = 201) -> None:
        self.got: list[tuple[dict[str, str], bytes]] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                service.got.append(({k.lower(): v for k, v in self.headers.items()}, body))
                self.send_response(status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        super().__init__(("127.0.0.1", 0), Handler)
        Thread(target=self.serve_forever, daemon=True).start()

    def stop(self) -> None:
        self.shutdown()
        self.server_close()


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).decode().rstrip("=")


def _bytes(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def _point(key: ec.EllipticCurvePublicKey) -> bytes:
    form = serialization.PublicFormat.UncompressedPoint
    return key.public_bytes(serialization.Encoding.X962, form)


async def _subscribed(v: Visited, endpoint: str, device: ec.EllipticCurvePrivateKey) -> None:
    v.log_in()
    told = {
        "endpoint": endpoint,
        "keys": {"p256dh": _text(_point(device.public_key())), "auth": _text(_AUTH)},
    }
    answer = await v.web.post("/devices/push", json=told)
    assert answer.status_code == 204


async def _alert(v: Visited) -> None:
    watch = v.service.watch
    with watch.book.store.writing() as session:
        job_steps.start(session, watch.book.plan, "hill", "coarse", v.service.clock.at)
    await v.service.judged()
    v.service.clock.at += 60
    await v.service.post(**CALM | {"gust": "19 mph"})
    await v.service.judged()


async def _wait_for(service: PushService) -> tuple[dict[str, str], bytes]:
    async with asyncio.timeout(15):
        while not service.got:  # noqa: ASYNC110  # another thread fills it
            await asyncio.sleep(0.02)
    return service.got[0]


async def test_an_alert_is_pushed_for_the_device_alone_to_read(tmp_path: Path) -> None:
    service, device = PushService(), ec.generate_private_key(ec.SECP256R1())
    async with visited(tmp_path, push_anywhere=True, contact="me@farm.example") as v:
        endpoint = f"http://127.0.0.1:{service.server_port}/device"
        await _subscribed(v, endpoint, device)
        await _alert(v)
        headers, body = await _wait_for(service)
        await asyncio.sleep(0.3)
        known = (await v.web.get("/devices/push")).json()["key"]
    service.stop()
    assert headers["content-encoding"] == "aes128gcm"  # RFC 8188
    said = json.loads(http_ece.decrypt(body, private_key=device, auth_secret=_AUTH))
    assert "hill" in said["title"]
    assert b"hill" not in body
    assert len(service.got) == 1  # two recipients were told, the device hears it once
    _check_signature(headers["authorization"], known)


def _check_signature(authorization: str, known_key: str) -> None:
    """RFC 8292: a JSON web token signed with ES256 by the key the device subscribed with."""
    scheme, _, rest = authorization.partition(" ")
    assert scheme.lower() == "vapid"
    parts = dict(part.strip().split("=", 1) for part in rest.split(","))
    assert parts["k"].rstrip("=") == known_key
    head, claims, signature = parts["t"].split(".")
    raw = _bytes(signature)
    key = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), _bytes(known_key))
    r, s = (int.from_bytes(raw[i : i + 32], "big") for i in (0, 32))
    key.verify(encode_dss_signature(r, s), f"{head}.{claims}".encode(), ec.ECDSA(SHA256()))
    assert json.loads(_bytes(claims))["sub"] == "mailto:me@farm.example"


async def test_a_device_that_is_gone_is_forgotten(tmp_path: Path) -> None:
    service, device = PushService(410), ec.generate_private_key(ec.SECP256R1())
    async with visited(tmp_path, push_anywhere=True, contact="me@farm.example") as v:
        await _subscribed(v, f"http://127.0.0.1:{service.server_port}/device", device)
        await _alert(v)
        await _wait_for(service)
        async with asyncio.timeout(10):
            while v.keyring.subscriptions():  # noqa: ASYNC110  # another thread empties it
                await asyncio.sleep(0.02)
    service.stop()


@pytest.mark.parametrize(
    "endpoint",
    ["http://push.example/1", "https://127.0.0.1/1", "https://localhost/1", "file:///etc/passwd"],
)
async def test_nothing_is_pushed_into_this_network(tmp_path: Path, endpoint: str) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        told = {"endpoint": endpoint, "keys": {"p256dh": "x", "auth": "y"}}
        answer = await v.web.post("/devices/push", json=told)
        assert answer.status_code == 422
        assert v.keyring.subscriptions() == []


def _device(port: int, path: str = "device") -> Subscription:
    key = ec.generate_private_key(ec.SECP256R1()).public_key()
    keys = {"p256dh": _text(_point(key)), "auth": _text(_AUTH)}
    return Subscription(f"http://127.0.0.1:{port}/{path}", json.dumps(keys))


_SAID = {"title": "Stop: hill", "body": "gust 19 mph", "tag": "ABCDE"}


@asynccontextmanager
async def _answering(
    answer: bytes, *, hold: bool = False
) -> AsyncIterator[tuple[int, list[bytes]]]:
    """A push service that answers with these bytes, and then holds on if told so."""
    asked: list[bytes] = []

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError, asyncio.CancelledError):
            asked.append(await reader.readline())
            writer.write(answer)
            while hold:
                await writer.drain()
                await asyncio.sleep(0.02)
                writer.write(b"X-Drop: 1\r\n")
            await writer.drain()
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1], asked


async def test_a_redirect_is_not_followed(tmp_path: Path) -> None:
    inside = PushService()
    to = f"Location: http://127.0.0.1:{inside.server_port}/inside".encode()
    answer = b"HTTP/1.1 307 Found\r\n" + to + b"\r\nContent-Length: 0\r\n\r\n"
    async with visited(tmp_path, calm=False) as v, _answering(answer) as (port, asked):
        await _pusher(v).send(_device(port), _SAID)
        assert len(asked) == 1
    inside.stop()
    assert inside.got == []


def _pusher(v: Visited, timeout_s: float = 10.0) -> Pusher:
    return Pusher(v.service.watch, v.keyring, "me@farm.example", anywhere=True, timeout_s=timeout_s)


async def test_a_service_that_never_ends_its_answer_is_given_up(tmp_path: Path) -> None:
    async with (
        visited(tmp_path, calm=False) as v,
        _answering(b"HTTP/1.1 201 Created\r\n", hold=True) as (port, asked),
    ):
        async with asyncio.timeout(20):
            await _pusher(v, timeout_s=0.5).send(_device(port), _SAID)
        assert len(asked) <= 1


async def test_no_more_than_the_head_of_an_answer_is_read(tmp_path: Path) -> None:
    head = b"HTTP/1.1 201 Created\r\nContent-Length: 10000000000\r\n\r\n"
    async with (
        visited(tmp_path, calm=False) as v,
        _answering(head + b"x" * 100_000, hold=True) as (port, asked),
    ):
        async with asyncio.timeout(20):
            await _pusher(v, timeout_s=15.0).send(_device(port), _SAID)
        assert len(asked) == 1


async def test_a_name_that_leads_into_this_network_later_is_not_pushed_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    service = PushService()
    leads_to = ["203.0.112.7"]
    plain = socket.getaddrinfo

    def getaddrinfo(host: str, port: int, *a: Any, **named: Any) -> Any:
        if host != "push.example":
            return plain(host, port, *a, **named)
        return [(2, 1, 6, "", (leads_to[0], port))]

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    async with visited(tmp_path, contact="me@farm.example") as v:
        v.log_in()
        device = _device(0)
        endpoint = f"https://push.example:{service.server_port}/1"
        told = {"endpoint": endpoint, "keys": json.loads(device.keys)}
        assert (await v.web.post("/devices/push", json=told)).status_code == 204
        leads_to[0] = "127.0.0.1"
        pusher = Pusher(v.service.watch, v.keyring, "me@farm.example")
        with structlog.testing.capture_logs() as said:
            await pusher.send(v.keyring.subscriptions()[0], _SAID)
    service.stop()
    assert service.got == []
    assert "open network" in said[0]["kind"]


async def test_devices_that_do_not_answer_keep_no_later_alert_waiting(tmp_path: Path) -> None:
    service = PushService()
    async with (
        visited(tmp_path, push_anywhere=True, contact="me@farm.example") as v,
        _answering(b"", hold=True) as (port, _),
    ):
        v.log_in()
        session = v.keyring.session(v.web.cookies["watcher"], v.service.clock.at)
        assert session is not None
        v.keyring.subscribe(session.number, _device(port))
        v.keyring.subscribe(session.number, _device(service.server_port))
        await _alert(v)
        await _wait_for(service)
    service.stop()


async def test_a_stranger_subscribes_to_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        assert (await v.web.post("/devices/push", json={})).status_code == 401
