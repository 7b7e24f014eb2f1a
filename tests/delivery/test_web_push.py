"""Pushes to devices from a real outbox, against a real HTTP server standing in for the service."""

import asyncio
import base64
import contextlib
import hmac
import json
import random
import signal
import socket
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from tests.support.push_roll import Roll, pushes_to
from tests.support.push_service import Device, PushService
from watcher.delivery import receipts
from watcher.delivery.acknowledgement import Seen
from watcher.delivery.addressees import Subscription
from watcher.delivery.channel import Attempt, Outcome
from watcher.delivery.web_push import WebPush, _fitting, read_status
from watcher.delivery.worker import LEASE_S, DeliveryWorker
from watcher.farm import Farm
from watcher.farm.models import Topic
from watcher.i18n.language import ENGLISH
from watcher.messages.watch import stopping_blind
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.outbox import NewMessage
from watcher.store.tables import Outgoing

_ROOT = Path(__file__).resolve().parent.parent.parent
NOON = 1_781_110_800  # 2026-06-10 12:00 in Chicago's zone


class Clock:
    """A clock the test owns: it starts at noon and moves when told."""

    def __init__(self) -> None:
        self.at = NOON

    def __call__(self) -> int:
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service() -> Iterator[PushService]:
    made = PushService()
    yield made
    made.stop()


@pytest.fixture
def device() -> Device:
    return Device()


@pytest.fixture
def phone(service: PushService, device: Device) -> Subscription:
    return device.subscription(service.endpoint())


def _worker(store: Database, farm: Farm, clock: Clock, roll: Roll) -> DeliveryWorker:
    return DeliveryWorker(
        store,
        farm,
        {},
        now=clock,
        pushes=pushes_to(roll),
        speed=1000.0,
        jitter=random.Random(1),
    )


def put(store: Database, key: str, device: Subscription, **given: Any) -> None:
    """Write one message to a device."""
    message: dict[str, Any] = {
        "key": key,
        "short_id": outbox.short_id(key),
        "about": "job:1",
        "kind": "stop",
        "recipient": device.name,
        "title": f"title of {key}",
        "body": f"body of {key}",
        "created_at": NOON,
        "caused_at": NOON,
        "due_at": NOON,
        "urgent": True,
        "tag": "job",
        "expires_at": NOON + 7200,
    }
    with store.writing() as session:
        outbox.put(session, NewMessage(**message | given))


def row(store: Database, key: str) -> Outgoing:
    with store.reading() as session:
        return session.query(Outgoing).filter_by(key=key).one()


async def test_a_message_is_pushed_for_the_device_alone_to_read(
    store, farm, clock, service, device, phone
):
    put(store, "a", phone)
    await _worker(store, farm, clock, Roll(phone)).drain()
    (got,) = service.got
    assert got.headers["content-encoding"] == "aes128gcm"  # RFC 8188
    assert b"title" not in got.body
    said = device.read(got)
    assert (said["title"], said["body"]) == ("title of a", "body of a")
    assert (said["to"], said["pause"], said["seen"]) == ("/jobs/1", "Pause", "I have seen this")
    assert pushes_to(Roll()).links.read(said["token"]) == Seen(outbox.short_id("a"), phone.name)
    assert (row(store, "a").state, row(store, "a").sent_at) == ("sent", NOON)


async def test_the_service_is_told_how_urgent_it_is_how_long_it_is_good_and_what_it_replaces(
    store, farm, clock, service, phone
):
    put(store, "a", phone)
    put(store, "b", phone, urgent=False, expires_at=NOON + 60)
    await _worker(store, farm, clock, Roll(phone)).drain()
    found = [(g.headers["urgency"], g.headers["ttl"], g.headers["topic"]) for g in service.got]
    assert found == [
        ("high", "900", outbox.short_id("a")),
        ("normal", "60", outbox.short_id("b")),
    ]


async def test_a_push_is_signed_by_the_key_the_device_subscribed_with(
    store, farm, clock, service, phone
):
    """RFC 8292: a JSON web token signed with ES256."""
    put(store, "a", phone)
    await _worker(store, farm, clock, Roll(phone)).drain()
    known_key = pushes_to(Roll()).public_key
    scheme, _, rest = service.got[0].headers["authorization"].partition(" ")
    assert scheme.lower() == "vapid"
    parts = dict(part.strip().split("=", 1) for part in rest.split(","))
    assert parts["k"].rstrip("=") == known_key
    head, claims, signature = parts["t"].split(".")
    raw = _bytes(signature)
    key = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), _bytes(known_key))
    r, s = (int.from_bytes(raw[i : i + 32], "big") for i in (0, 32))
    key.verify(encode_dss_signature(r, s), f"{head}.{claims}".encode(), ec.ECDSA(SHA256()))
    assert json.loads(_bytes(claims))["sub"] == "mailto:me@farm.example"


def _bytes(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


async def test_a_device_reads_the_language_it_subscribed_in(store, farm, clock, service, device):
    phone = device.subscription(service.endpoint(), "es")
    put(store, "a", phone)
    await _worker(store, farm, clock, Roll(phone)).drain()
    assert device.read(service.got[0])["pause"] == "Pausa"


async def test_after_503_it_is_pushed_again(store, farm, clock, service, device, phone):
    service.answers = [(503, {})]
    put(store, "a", phone)
    worker = _worker(store, farm, clock, Roll(phone))
    await worker.drain()
    waiting = row(store, "a")
    assert (waiting.state, waiting.last_error) == ("waiting", "HTTP 503")
    assert NOON < waiting.due_at <= NOON + 2
    clock.at += 2
    await worker.drain()
    assert row(store, "a").state == "sent"
    assert [device.read(got)["title"] for got in service.got] == ["title of a"] * 2


@pytest.mark.parametrize(
    ("asked", "again_s"),
    [("70", 70), ("86400", 600), ("Wed, 10 Jun 2026 17:01:30 GMT", 90), ("-5", 0), ("soon", 0)],
)
def test_retry_after_is_honoured_within_bounds(asked: str, again_s: int) -> None:
    attempt = read_status(429, "why", asked, float(NOON))
    assert attempt == Attempt(Outcome.FAILED, "why", again_s)


async def test_it_is_not_pushed_again_before_the_service_allows(store, farm, clock, service, phone):
    service.answers = [(429, {"Retry-After": "70"})]
    put(store, "a", phone)
    worker = _worker(store, farm, clock, Roll(phone))
    await worker.drain()
    assert row(store, "a").due_at == NOON + 70
    clock.at += 69
    await worker.drain()
    assert len(service.got) == 1
    clock.at += 1
    await worker.drain()
    assert row(store, "a").state == "sent"


@pytest.mark.parametrize("status", [404, 410])
async def test_a_device_that_is_gone_is_noted_once_and_never_tried_again(
    store, farm, clock, service, phone, status
):
    service.status = status
    put(store, "a", phone)
    put(store, "b", phone)
    roll = Roll(phone)
    worker = _worker(store, farm, clock, roll)
    await worker.drain()
    assert roll.ended == [(phone.name, str(status))]
    failed = row(store, "a")
    assert failed.state == "failed"
    assert failed.last_error == f"HTTP {status}, the subscription is over"
    assert len(service.got) == 1
    async with running(worker):
        await until(lambda: row(store, "b").state == "failed")
    assert row(store, "b").last_error == "this device takes no pushes any more"
    assert len(service.got) == 1


@pytest.mark.parametrize("status", [400, 401, 403, 413])
async def test_what_a_service_refuses_fails_for_good_with_the_reason(
    store, farm, clock, service, phone, status
):
    service.status = status
    put(store, "a", phone)
    roll = Roll(phone)
    worker = _worker(store, farm, clock, roll)
    for _ in range(3):
        await worker.drain()
        clock.at += 300
    failed = row(store, "a")
    assert (failed.state, failed.last_error) == ("failed", f"HTTP {status}")
    assert len(service.got) == 1
    assert roll.ended == []


@pytest.mark.parametrize(("status", "reached", "tries"), [(201, 1, 1), (403, 0, 1)])
async def test_what_is_told_past_the_outbox_reaches_devices_and_is_not_pressed_on_a_refusal(
    store, farm, clock, service, device, phone, status, reached, tries
):
    service.status = status
    worker = _worker(store, farm, clock, Roll(phone))
    text = stopping_blind("the disk is full")
    assert await worker.tell_directly(text, Topic.JOB, until_s=10.0) == reached
    assert len(service.got) == tries
    assert "the disk is full" in device.read(service.got[0])["body"]


async def test_what_cannot_be_pushed_in_time_expires(store, farm, clock, service, phone):
    service.status = 503
    put(store, "a", phone, expires_at=NOON + 30)
    worker = _worker(store, farm, clock, Roll(phone))
    async with running(worker):
        await until(lambda: row(store, "a").last_error is not None)
        clock.at += 31
        await until(lambda: row(store, "a").state == "expired")
    assert row(store, "a").last_error == "HTTP 503"


async def test_a_restart_in_between_loses_nothing(store, farm, clock, service, device, phone):
    service.answers = [(503, {})]
    put(store, "a", phone)
    await _worker(store, farm, clock, Roll(phone)).drain()
    put(store, "b", phone)
    clock.at += 2
    await _worker(store, farm, clock, Roll(phone)).drain()
    assert {row(store, key).state for key in "ab"} == {"sent"}
    assert sorted(device.read(got)["title"] for got in service.got[1:]) == [
        "title of a",
        "title of b",
    ]


async def test_one_whose_sender_was_killed_is_pushed_once_more_and_replaces_itself(
    store, farm, clock, service, device, phone
):
    put(store, "a", phone)
    with store.writing() as session:  # as a sender does that is killed before it notes the answer
        [taken] = outbox.claim(session, NOON, LEASE_S, 1, recipient=phone.name)
    killed = pushes_to(Roll(phone)).channel(phone, ENGLISH)
    await killed.send(taken.title, taken.body, urgent=True, rows=[taken], now=NOON)
    worker = _worker(store, farm, clock, Roll(phone))
    await worker.drain()
    assert len(service.got) == 1  # its lease still holds
    clock.at += LEASE_S
    for _ in range(2):
        await worker.drain()
    assert len(service.got) == 2
    assert len({device.read(got)["tag"] for got in service.got}) == 1
    assert len({got.headers["topic"] for got in service.got}) == 1


def _life(*given: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "tests.support.push_life", *given]
    return subprocess.Popen(command, cwd=_ROOT)


async def test_a_process_killed_while_it_pushes_costs_one_push_more_and_loses_none(
    store, farm, clock, service, device, phone, tmp_path
):
    clock.at = now = int(time.time())
    put(store, "a", phone, created_at=now, caused_at=now, due_at=now, expires_at=None)
    process = _life(str(tmp_path / "watch.db"), phone.endpoint, phone.keys)
    service.before_answer = process.kill
    await asyncio.to_thread(service.wait_for)
    assert await asyncio.to_thread(process.wait, 10) == -signal.SIGKILL
    service.before_answer = lambda: None
    assert row(store, "a").state == "sending"
    clock.at += LEASE_S + 30  # it claimed a little later than the test began
    for _ in range(2):
        await _worker(store, farm, clock, Roll(phone)).drain()
    assert row(store, "a").state == "sent"
    assert [device.read(got)["tag"] for got in service.got] == [outbox.short_id("a")] * 2


async def test_a_device_that_subscribes_later_is_delivered_to(store, farm, clock, service, phone):
    roll = Roll()
    worker = _worker(store, farm, clock, roll)
    async with running(worker):
        await asyncio.sleep(0)
        roll.devices = {phone.name: phone}
        put(store, "a", phone)
        worker.wake()
        await until(lambda: row(store, "a").state == "sent")


async def test_a_device_is_delivered_to_again_after_nothing_waited_for_it(
    store, farm, clock, service, phone
):
    worker = _worker(store, farm, clock, Roll(phone))
    async with running(worker):
        for key in "abc":
            put(store, key, phone)
            worker.wake()
            await until(lambda key=key: row(store, key).state == "sent")
            worker.wake()
            await until(lambda: phone.name not in worker._bells)
    assert len(service.got) == 3


async def test_devices_that_do_not_answer_keep_no_other_waiting(
    store, farm, clock, service, device, phone
):
    async with _answering(b"", hold=True) as (port, _):
        silent = device.subscription(f"http://127.0.0.1:{port}/device")
        put(store, "silent", silent)
        put(store, "a", phone)
        async with running(_worker(store, farm, clock, Roll(silent, phone))):
            await until(lambda: row(store, "a").state == "sent")
            assert row(store, "silent").state == "sending"


async def test_a_long_text_keeps_its_end_and_fits_a_push(
    store, farm, clock, service, device, phone
):
    body = "\n".join([*(f"line {n} " + "ä" * 60 for n in range(100)), "The caution.", "[ABCDE]"])
    put(store, "a", phone, body=body)
    await _worker(store, farm, clock, Roll(phone)).drain()
    (got,) = service.got
    assert len(got.body) <= 4096  # RFC 8030, 7.2
    lines = device.read(got)["body"].splitlines()
    assert lines[0].startswith("line 0 ")
    assert lines[-2:] == ["The caution.", "[ABCDE]"]


async def test_what_a_device_has_shown_is_not_pushed_again(store, farm, clock, service, phone):
    service.answers = [(503, {})]  # a gateway's own answer: the service behind it took the push
    put(store, "a", phone)
    worker = _worker(store, farm, clock, Roll(phone))
    await worker.drain()
    with store.writing() as session:
        assert receipts.shown(session, Seen(outbox.short_id("a"), phone.name), NOON + 1)
    clock.at += 60
    await worker.drain()
    assert len(service.got) == 1
    shown = row(store, "a")
    assert (shown.state, shown.shown_at, shown.last_error) == ("sent", NOON + 1, None)


@asynccontextmanager
async def running(worker: DeliveryWorker) -> AsyncIterator[None]:
    task = asyncio.create_task(worker.run())
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def until(true: Callable[[], bool], timeout_s: float = 10.0) -> None:
    async with asyncio.timeout(timeout_s):
        while not true():  # noqa: ASYNC110  # what is waited for is in a file
            await asyncio.sleep(0.01)


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


async def _send(pushes: WebPush, endpoint: str) -> Attempt:
    channel = pushes.channel(Device().subscription(endpoint), ENGLISH)
    return await channel.send("Stop: hill", "gust 19 mph", urgent=True)


async def test_a_redirect_is_not_followed() -> None:
    inside = PushService()
    to = f"Location: {inside.endpoint('inside')}".encode()
    answer = b"HTTP/1.1 307 Found\r\n" + to + b"\r\nContent-Length: 0\r\n\r\n"
    async with _answering(answer) as (port, asked):
        attempt = await _send(pushes_to(Roll()), f"http://127.0.0.1:{port}/device")
    assert len(asked) == 1
    assert attempt == Attempt(Outcome.HOPELESS, "HTTP 307")
    inside.stop()
    assert inside.got == []


async def test_a_service_that_never_ends_its_answer_is_given_up() -> None:
    async with _answering(b"HTTP/1.1 201 Created\r\n", hold=True) as (port, asked):
        async with asyncio.timeout(20):
            attempt = await _send(pushes_to(Roll(), 0.5), f"http://127.0.0.1:{port}/device")
        assert len(asked) <= 1
    assert attempt == Attempt(Outcome.FAILED, "no answer in 0.5 s")


async def test_no_more_than_the_head_of_an_answer_is_read() -> None:
    head = b"HTTP/1.1 201 Created\r\nContent-Length: 10000000000\r\n\r\n"
    async with _answering(head + b"x" * 100_000, hold=True) as (port, asked):
        async with asyncio.timeout(20):
            attempt = await _send(pushes_to(Roll(), 15.0), f"http://127.0.0.1:{port}/device")
        assert len(asked) == 1
    assert attempt.outcome is Outcome.SENT


async def test_a_name_that_leads_into_this_network_is_not_pushed_to(
    service: PushService, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = socket.getaddrinfo

    def getaddrinfo(host: str, port: int, *a: Any, **named: Any) -> Any:
        if host != "push.example":
            return plain(host, port, *a, **named)
        return [(2, 1, 6, "", ("127.0.0.1", port))]

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    pushes = pushes_to(Roll(), anywhere=False)
    attempt = await _send(pushes, f"https://push.example:{service.server_port}/1")
    assert service.got == []
    assert "open network" in attempt.why


@pytest.mark.parametrize(
    ("status", "outcome"),
    [
        (200, Outcome.SENT),
        (201, Outcome.SENT),
        (299, Outcome.SENT),
        (302, Outcome.HOPELESS),
        (400, Outcome.HOPELESS),
        (404, Outcome.HOPELESS),
        (408, Outcome.FAILED),
        (410, Outcome.HOPELESS),
        (413, Outcome.HOPELESS),
        (425, Outcome.FAILED),
        (429, Outcome.FAILED),
        (500, Outcome.FAILED),
        (599, Outcome.FAILED),
    ],
)
def test_what_the_answer_of_a_push_service_means(status: int, outcome: Outcome) -> None:
    """RFC 8030 and the meanings of HTTP: what may pass is tried again, the rest is not."""
    assert read_status(status, "why", "", float(NOON)).outcome is outcome


@pytest.mark.parametrize(("asked", "again_s"), [("600", 600.0), ("601", 600.0), ("0", 0.0)])
def test_a_service_is_left_alone_for_ten_minutes_at_most(asked: str, again_s: float) -> None:
    assert read_status(503, "why", asked, float(NOON)).again_s == again_s


def test_the_signing_key_is_of_the_secret_alone_and_on_the_curve() -> None:
    """FIPS 186-4: the order of P-256, here as 2^256 - 2^224 + 2^192 less what is known of it."""
    order = 115792089210356248762697446949407573529996955224135760342422259061068512044369
    pushes = pushes_to(Roll())
    derived = hmac.digest(pushes._secret, b"vapid", "sha512")
    number = int.from_bytes(derived, "big") % (order - 1) + 1
    public = ec.derive_private_key(number, ec.SECP256R1()).public_key().public_numbers()
    raw = _bytes(pushes.public_key)
    assert raw == b"\x04" + public.x.to_bytes(32, "big") + public.y.to_bytes(32, "big")


async def test_a_push_is_signed_for_half_a_day(store, farm, clock, service, phone):
    """RFC 8292 allows 24 h at most."""
    put(store, "a", phone)
    await _worker(store, farm, clock, Roll(phone)).drain()
    token = service.got[0].headers["authorization"].partition("t=")[2].partition(",")[0]
    claims = json.loads(_bytes(token.split(".")[1]))
    assert claims["exp"] - time.time() == pytest.approx(12 * 3600, abs=120)


@pytest.mark.parametrize(("left_s", "ttl"), [(901, "900"), (899, "899"), (0, "0")])
async def test_a_push_is_good_for_a_quarter_of_an_hour_or_until_its_message_expires(
    store, farm, service, phone, left_s, ttl
):
    put(store, "a", phone, expires_at=NOON + left_s)
    with store.reading() as session:
        message = session.query(Outgoing).one()
    channel = pushes_to(Roll(phone)).channel(phone, ENGLISH)
    attempt = await channel.send("t", "b", urgent=True, rows=[message], now=NOON)
    assert attempt == Attempt(Outcome.SENT)
    assert service.got[0].headers["ttl"] == ttl


@pytest.mark.parametrize(("room", "kept"), [(0, 5), (-1, 4)])
def test_as_many_lines_are_kept_as_fit(room: int, kept: int) -> None:
    """3900 bytes to the byte; the last two lines always stay."""
    lines = ["first", "second", "third", "the caution", "[ABCDE]"]
    bare = len(json.dumps({"title": "", "body": "\n".join(lines)}, ensure_ascii=False).encode())
    said = {"title": "x" * (3900 - bare - room), "body": "\n".join(lines)}
    fitted = json.loads(_fitting(said))["body"].splitlines()
    assert len(fitted) == kept
    assert fitted[-2:] == lines[-2:]
    too_much = json.loads(_fitting({"title": "x" * 4000, "body": "\n".join(lines)}))
    assert too_much["body"].splitlines() == lines[-2:]


async def test_what_is_tried_out_is_urgent_and_answered_by_its_id(service, device, phone):
    pushes = pushes_to(Roll(phone))
    channel = pushes.channel(phone, ENGLISH)
    attempt = await channel.try_out("t", "b", ref="ABCDE", to="/devices")
    assert attempt.outcome is Outcome.SENT
    (got,) = service.got
    assert (got.headers["urgency"], got.headers["ttl"]) == ("high", "900")
    assert got.headers["topic"] == "ABCDE"
    assert device.read(got)["to"] == "/devices"
