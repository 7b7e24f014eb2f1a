"""A station behind a real broker: restarts, cut and dead lines, TLS, kept messages, versions."""

import asyncio
import gc
import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiomqtt import Client, Message, ProtocolVersion

from tests.support.cuttable import Cuttable
from tests.support.ear import Ear, listening
from tests.support.mosquitto import Mosquitto, free_port
from watcher.sources.base import Flag
from watcher.sources.stations import mqtt
from watcher.sources.stations.line import Patience
from watcher.sources.stations.mqtt import Broker, MqttSource
from watcher.sources.stations.mqtt_payload import Mapped, MappedValue, PostedPayload
from watcher.weather.series import Site

NOW = 1_781_272_800  # 2026-06-12 14:00 UTC
SITE = Site(41.0, -96.0)
VERSIONS = (ProtocolVersion.V311, ProtocolVersion.V5)


async def hardly(seconds: float) -> None:
    """Stand in for the pause between tries."""
    await asyncio.sleep(min(seconds, 0.02))


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    running = Mosquitto(tmp_path).start()
    yield running
    running.kill()


async def for_ever(seconds: float) -> None:
    """Stand in for the pause where one try is enough."""
    del seconds
    await asyncio.Event().wait()


def station(broker: Broker, reader: Any = None, sleep: Any = hardly) -> MqttSource:
    return MqttSource(
        name="mast",
        broker=broker,
        reader=reader or PostedPayload(["farm/mast"], "application/senml+json"),
        site=SITE,
        clock=lambda: NOW,
        patience=Patience(sleep=sleep),
    )


def reached(port: int, **settings: Any) -> Broker:
    return Broker("127.0.0.1", port, **settings)


def pack(time: int, wind: float) -> bytes:
    record = {"n": "wind", "u": "m/s", "v": wind, "bn": "urn:dev:farm:st1/"}
    return json.dumps([record | ({"bt": time} if time else {})]).encode()


async def publish(port: int, body: bytes | str, topic: str = "farm/mast", **how: Any) -> None:
    async with Client("127.0.0.1", port) as client:
        await client.publish(topic, body, qos=1, **how)


async def heard_live(ear: Ear, port: int, body: bytes, topic: str = "farm/mast") -> None:
    """Publish until it is heard: a subscription takes a moment, and again after every cut."""
    before = len(ear.heard)
    for _ in range(200):
        await publish(port, body, topic)
        try:
            await asyncio.wait_for(ear.until(heard=before + 1), 0.1)
        except TimeoutError:
            continue
        return
    raise AssertionError(f"never heard; trouble: {ear.trouble}")


@pytest.mark.parametrize("version", VERSIONS)
async def test_a_reading_is_heard_at_its_own_time(
    broker: Mosquitto, version: ProtocolVersion
) -> None:
    async with listening(station(reached(broker.port, version=version))) as ear:
        await heard_live(ear, broker.port, pack(NOW - 60, 3.0))
    assert set(ear.values("wind_m_s")) == {(NOW - 60, 3.0)}
    assert ear.heard[0].series.source == "mast"


@pytest.mark.parametrize("version", VERSIONS)
async def test_a_retained_reading_is_as_old_as_it_says(
    broker: Mosquitto, version: ProtocolVersion
) -> None:
    await publish(broker.port, pack(NOW - 7200, 3.0), retain=True)
    async with listening(station(reached(broker.port, version=version))) as ear:
        await ear.until(heard=1)
    assert ear.values("wind_m_s") == [(NOW - 7200, 3.0)]


async def test_a_retained_reading_without_a_time_is_not_of_now(broker: Mosquitto) -> None:
    await publish(broker.port, pack(0, 3.0), retain=True)
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW - 60, 4.0))
    assert set(ear.values("wind_m_s")) == {(NOW - 60, 4.0)}
    assert ear.trouble == []


async def test_a_live_reading_without_a_time_is_of_now(broker: Mosquitto) -> None:
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(0, 3.0))
    assert set(ear.values("wind_m_s")) == {(NOW, 3.0)}


async def test_a_reading_from_ahead_is_flagged(broker: Mosquitto) -> None:
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW + 600, 3.0))
    assert ear.heard[0].flags["wind_m_s"].tolist() == [Flag.FUTURE]


async def test_a_reading_that_comes_twice_says_the_same_twice(broker: Mosquitto) -> None:
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW - 60, 3.0))
        before = len(ear.heard)
        await publish(broker.port, pack(NOW - 60, 3.0))
        await publish(broker.port, pack(NOW - 60, 3.0))
        await ear.until(heard=before + 2)
    assert set(ear.values("wind_m_s")) == {(NOW - 60, 3.0)}


async def test_values_on_topics_of_their_own_are_of_the_second_they_come_in(
    broker: Mosquitto,
) -> None:
    reader = Mapped(
        [
            MappedValue.of("wind", topic="farm/mast/wind", at="@", unit="m/s"),
            MappedValue.of("temperature", topic="farm/mast/temp", at="@", unit="degC"),
        ]
    )
    async with listening(station(reached(broker.port), reader)) as ear:
        await heard_live(ear, broker.port, b"3.5", "farm/mast/wind")
        await heard_live(ear, broker.port, b"20.5", "farm/mast/temp")
    assert set(ear.values("wind_m_s")) >= {(NOW, 3.5)}  # the log puts them together
    row = ear.heard[-1].series
    assert (row.times[0], row.temp_c[0]) == (NOW, 20.5)


async def test_a_broker_that_restarts_is_found_again(broker: Mosquitto) -> None:
    async with listening(station(reached(broker.port))) as ear:
        for minute in range(3):
            await heard_live(ear, broker.port, pack(NOW + 60 * minute, 3.0 + minute))
            broker.kill()
            await ear.until(trouble=minute + 1)
            broker.start()
        await heard_live(ear, broker.port, pack(NOW + 600, 9.0))
    assert {wind for _, wind in ear.values("wind_m_s")} == {3.0, 4.0, 5.0, 9.0}
    assert f"127.0.0.1:{broker.port}" in ear.trouble[0]


async def test_a_cut_line_is_mended(broker: Mosquitto) -> None:
    async with Cuttable(broker.port) as line, listening(station(reached(line.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW, 3.0))
        line.cut()
        await ear.until(trouble=1)
        await heard_live(ear, broker.port, pack(NOW + 60, 4.0))
        assert line.opened >= 2
    assert (NOW + 60, 4.0) in ear.values("wind_m_s")


async def test_a_line_that_goes_dead_without_a_goodbye_is_given_up(
    broker: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "KEEP_ALIVE_S", 1)
    async with Cuttable(broker.port) as line, listening(station(reached(line.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW, 3.0))
        line.freeze()
        await ear.until(trouble=1)
        line.thaw()
        await heard_live(ear, broker.port, pack(NOW + 60, 4.0))
    assert (NOW + 60, 4.0) in ear.values("wind_m_s")


@pytest.mark.parametrize("version", VERSIONS)
async def test_a_session_brings_what_was_sent_meanwhile_at_its_own_time(
    broker: Mosquitto, version: ProtocolVersion
) -> None:
    kept = reached(broker.port, version=version, session="plum-hollow")
    async with listening(station(kept)) as ear:
        await heard_live(ear, broker.port, pack(NOW - 600, 3.0))
    for minute in range(3):
        await publish(broker.port, pack(NOW - 300 + 60 * minute, 4.0 + minute))
    await publish(broker.port, pack(0, 11.0))  # nobody could tell how old it is
    async with listening(station(kept)) as later:
        await later.until(heard=3)
        await heard_live(later, broker.port, pack(NOW, 9.0))
    winds = dict(later.values("wind_m_s"))
    assert [winds[NOW - 300 + 60 * minute] for minute in range(3)] == [4.0, 5.0, 6.0]
    assert 11.0 not in winds.values()


async def test_without_a_session_nothing_is_kept_for_this_side(broker: Mosquitto) -> None:
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW - 600, 3.0))
    await publish(broker.port, pack(0, 11.0))
    async with listening(station(reached(broker.port))) as later:
        await heard_live(later, broker.port, pack(NOW, 9.0))
    assert set(later.values("wind_m_s")) == {(NOW, 9.0)}


@pytest.mark.parametrize("body", [b"\x00\x01", b"{", b"[]", b'[{"n": "wind", "v": "high"}]'])
async def test_a_message_that_cannot_be_read_is_told_and_ends_nothing(
    broker: Mosquitto, body: bytes
) -> None:
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW, 3.0))
        await publish(broker.port, body)
        await ear.until(trouble=1)
        await heard_live(ear, broker.port, pack(NOW + 60, 4.0))
    assert ear.trouble[0].startswith("the message on 'farm/mast' cannot be read")
    assert len(ear.trouble) == 1


async def test_a_message_over_the_bound_is_told_and_ends_nothing(broker: Mosquitto) -> None:
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW - 120, 2.0))
        await publish(broker.port, b"[" + b" " * (1200 * 1024) + b"]")
        await ear.until(trouble=1)
        await heard_live(ear, broker.port, pack(NOW - 60, 3.0))
    assert "over 1048576 bytes" in ear.trouble[0]
    assert (NOW - 60, 3.0) in ear.values("wind_m_s")


@pytest.mark.parametrize("version", VERSIONS)
async def test_a_message_of_megabytes_is_not_let_in_and_ends_nothing(
    broker: Mosquitto, version: ProtocolVersion
) -> None:
    async with listening(station(reached(broker.port, version=version))) as ear:
        await heard_live(ear, broker.port, pack(NOW - 120, 2.0))
        await publish(broker.port, b" " * (8 * 2**20))
        await ear.until(trouble=1)
        await heard_live(ear, broker.port, pack(NOW - 60, 3.0))
    assert "sent a message of 83886" in ear.trouble[0]
    assert (NOW - 60, 3.0) in ear.values("wind_m_s")


def test_messages_that_wait_are_bounded_by_their_bytes() -> None:
    waiting = mqtt._Waiting(mqtt.MOST_WAITING)
    message = Message("farm/mast", b"x" * mqtt.MAX_BYTES, 1, False, 0, None)
    for _ in range(mqtt.MOST_WAITING_BYTES // mqtt.MAX_BYTES):
        waiting.put_nowait(message)
    with pytest.raises(asyncio.QueueFull):
        waiting.put_nowait(message)
    waiting.get_nowait()
    waiting.put_nowait(message)


async def test_a_retained_message_taken_back_says_nothing(broker: Mosquitto) -> None:
    async with listening(station(reached(broker.port))) as ear:
        await heard_live(ear, broker.port, pack(NOW, 3.0))
        await publish(broker.port, b"", retain=True)
        await heard_live(ear, broker.port, pack(NOW + 60, 4.0))
    assert ear.trouble == []


async def test_a_broker_that_is_not_there_is_told_again_and_again() -> None:
    async with listening(station(reached(free_port()))) as ear:
        await ear.until(trouble=3)
    assert "check that it runs" in ear.trouble[0]


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that wants a password, and lets its user read one topic only."""
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", passwords, "watch", "right-word"], check=True)
    rights = tmp_path / "rights"
    rights.write_text("user watch\ntopic readwrite farm/mast\n")
    settings = [f"password_file {passwords}", f"acl_file {rights}", "allow_anonymous false"]
    running = Mosquitto(tmp_path, settings).start()
    yield running
    running.kill()


@pytest.mark.parametrize("version", VERSIONS)
async def test_user_and_password_are_shown_to_the_broker(
    guarded: Mosquitto, version: ProtocolVersion
) -> None:
    known = reached(guarded.port, user="watch", password="right-word", version=version)
    async with listening(station(known)) as ear:
        for _ in range(200):
            async with Client(
                "127.0.0.1", guarded.port, username="watch", password="right-word"
            ) as client:
                await client.publish("farm/mast", pack(NOW, 3.0), qos=1)
            if ear.heard:
                break
            await asyncio.sleep(0.02)
    assert (NOW, 3.0) in ear.values("wind_m_s")


@pytest.mark.parametrize("version", VERSIONS)
async def test_a_wrong_password_is_told_without_the_password(
    guarded: Mosquitto, version: ProtocolVersion
) -> None:
    stranger = reached(guarded.port, user="watch", password="wrong-word", version=version)
    async with listening(station(stranger, sleep=for_ever)) as ear:
        await ear.until(trouble=1)
    assert "password" in ear.trouble[0]
    assert "wrong-word" not in ear.trouble[0]


@pytest.fixture
def authority(tmp_path: Path) -> trustme.CA:
    made = trustme.CA()
    made.cert_pem.write_to_path(tmp_path / "ca.pem")
    return made


@pytest.fixture
def encrypted(tmp_path: Path, authority: trustme.CA) -> Iterator[Mosquitto]:
    certificate = authority.issue_cert("127.0.0.1")
    certificate.private_key_pem.write_to_path(tmp_path / "key.pem")
    certificate.cert_chain_pems[0].write_to_path(tmp_path / "cert.pem")
    settings = [
        "allow_anonymous true",
        f"certfile {tmp_path / 'cert.pem'}",
        f"keyfile {tmp_path / 'key.pem'}",
    ]
    running = Mosquitto(tmp_path, settings).start()
    yield running
    running.kill()


@pytest.mark.parametrize("version", VERSIONS)
async def test_a_line_may_be_encrypted(
    encrypted: Mosquitto, authority: trustme.CA, tmp_path: Path, version: ProtocolVersion
) -> None:
    found = reached(encrypted.port, tls=True, ca_file=tmp_path / "ca.pem", version=version)
    async with (
        listening(station(found)) as ear,
        Client("127.0.0.1", encrypted.port, tls_context=found._tls_context()) as client,
    ):
        while not ear.heard:
            await client.publish("farm/mast", pack(NOW, 3.0), qos=1)
            await asyncio.sleep(0.02)
    assert (NOW, 3.0) in ear.values("wind_m_s")


# paho leaves the socket of a handshake that failed to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.filterwarnings("ignore:unclosed <ssl:ResourceWarning")
async def test_a_broker_that_cannot_prove_itself_is_not_listened_to(encrypted: Mosquitto) -> None:
    once = station(reached(encrypted.port, tls=True), sleep=for_ever)
    async with listening(once) as ear:
        await ear.until(trouble=1)
    assert "certificate" in ear.trouble[0].lower()
    assert ear.heard == []
    del ear, once
    gc.collect()


async def test_certificates_that_are_not_there_are_told(encrypted: Mosquitto) -> None:
    found = reached(encrypted.port, tls=True, ca_file=Path("/nowhere/ca.pem"))
    async with listening(station(found, sleep=for_ever)) as ear:
        await ear.until(trouble=1)
    assert "No such file" in ear.trouble[0]


async def test_a_broker_that_refuses_the_topic_is_told() -> None:
    async def refuse(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1024)
        writer.write(bytes([0x20, 2, 0, 0]))  # CONNACK: accepted (MQTT 3.1.1, 3.2)
        subscribe = await reader.read(1024)
        writer.write(bytes([0x90, 3, *subscribe[2:4], 0x80]))  # SUBACK: failure (3.9.3)
        await reader.read(1024)
        writer.close()

    async with await asyncio.start_server(refuse, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        async with listening(station(reached(port), sleep=for_ever)) as ear:
            await ear.until(trouble=1)
    assert "refuses the topic 'farm/mast'" in ear.trouble[0]
