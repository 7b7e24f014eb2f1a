"""A station heard through an MQTT broker (3.1.1 or 5; OASIS standards), kept subscribed.

Readings that come again, retained or redelivered, change nothing: each has its own time, and the
log knows it. Messages without one count as of now only when they cannot be old.
"""

import asyncio
import ssl
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from aiomqtt import Client, Message, MqttError, ProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from watcher.sources.base import Observations, SourceError
from watcher.sources.body_reader import BodyReader, InPlace
from watcher.sources.stations.line import Patience, Said, kept_open
from watcher.sources.stations.mqtt_payload import Payload, Reader
from watcher.sources.stations.readings import MAX_BYTES
from watcher.sources.stations.rows import Rows, observations
from watcher.weather.series import Site

KEEP_ALIVE_S = 30
"""A line is given up after one and a half times as long without a sign of life."""
SESSION_KEPT_S = 7 * 86_400
"""How long a broker is asked to keep what comes in while this side is away (MQTT 5)."""
MOST_WAITING = 10_000
"""Messages that may wait to be read; more are dropped, loudly."""
MOST_WAITING_BYTES = 16 * 2**20
"""Bytes of the messages that may wait."""
LARGEST_PACKET = 4 * MAX_BYTES
"""A larger one is not let in at all: the protocol allows 256 MB. [bytes]"""
AT_LEAST_ONCE = 1


@dataclass(frozen=True)
class Broker:
    """How a broker is reached. ``session`` is the name it keeps messages under, None for none."""

    host: str
    port: int
    tls: bool = False
    ca_file: Path | None = None
    user: str | None = None
    password: str | None = None
    version: ProtocolVersion = ProtocolVersion.V311
    session: str | None = None

    def __str__(self) -> str:
        return f"the broker at {self.host}:{self.port}"

    async def client(self) -> "BoundedClient":
        """Return a client that is yet to connect; ``OSError`` for unusable certificates."""
        context = await asyncio.to_thread(self._tls_context) if self.tls else None
        return BoundedClient(
            self.host,
            self.port,
            username=self.user,
            password=self.password,
            identifier=self.session,
            protocol=self.version,
            tls_context=context,
            keepalive=KEEP_ALIVE_S,
            max_queued_incoming_messages=MOST_WAITING,
            queue_type=_Waiting,
            **self._session_settings(),
        )

    def _session_settings(self) -> dict[str, Any]:
        if self.version is not ProtocolVersion.V5:
            return {"clean_session": self.session is None}
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = SESSION_KEPT_S if self.session else 0
        return {"clean_start": self.session is None, "properties": properties}

    def _tls_context(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self.ca_file)


class BoundedClient(Client):
    """A client that gives up a line on which a packet comes that is too large to be let in."""

    too_large = 0
    """Bytes of that packet, 0 while there was none."""

    def __init__(self, *arguments: Any, **settings: Any) -> None:
        super().__init__(*arguments, **settings)
        # The library has no setting for this; it asks for a packet's whole length first.
        receive = self._client._sock_recv

        def receive_bounded(bufsize: int) -> bytes:
            if bufsize > LARGEST_PACKET:
                self.too_large = bufsize
                raise ConnectionAbortedError(f"a packet of {bufsize} bytes")
            return receive(bufsize)

        self._client._sock_recv = receive_bounded  # type: ignore[method-assign]


class _Waiting(asyncio.Queue[Message]):
    """The messages that wait to be read, bounded by their bytes, too.

    Of one that is too large only so much is kept as shows it.
    """

    def _init(self, maxsize: int) -> None:
        super()._init(maxsize)
        self._bytes = 0

    def put_nowait(self, item: Message) -> None:
        if isinstance(item.payload, bytes):
            item.payload = item.payload[: MAX_BYTES + 1]
        if self._bytes + _size(item) > MOST_WAITING_BYTES:
            raise asyncio.QueueFull
        super().put_nowait(item)

    def _put(self, item: Message) -> None:
        super()._put(item)
        self._bytes += _size(item)

    def _get(self) -> Message:
        item: Message = super()._get()
        self._bytes -= _size(item)
        return item


def _size(message: Message) -> int:
    return len(message.payload) if isinstance(message.payload, bytes) else 0


def _rows(reader: Reader, payload: Payload, now: int) -> Rows:
    """Return the rows of a message; raises ``SourceError``."""
    try:
        return reader.rows(payload, now)
    except ValueError as error:
        raise SourceError(
            f"the message on {payload.topic!r} cannot be read: {error}; check what the station "
            "sends and how it is mapped"
        ) from error


class MqttSource:
    """A station that publishes; ``reader`` knows its topics and what its messages hold."""

    def __init__(
        self,
        *,
        name: str,
        broker: Broker,
        reader: Reader,
        site: Site,
        clock: Callable[[], int],
        patience: Patience | None = None,
        bodies: BodyReader | None = None,
    ) -> None:
        self.name = name
        self._broker = broker
        self._reader = reader
        self._bodies = bodies or InPlace()
        self._site = site
        self._clock = clock
        self._patience = patience or Patience()

    def stream(self) -> Said:
        """Yield the station's readings, and every trouble, until closed."""
        return kept_open(self._subscribed, self._patience)

    async def _subscribed(self) -> Said:
        async with self._line() as client:
            for topic in self._reader.topics:
                await self._subscribe(client, topic)
            async for message in client.messages:
                said = await self._said(message)
                if said is not None:
                    yield said

    @asynccontextmanager
    async def _line(self) -> AsyncIterator[Client]:
        client = None
        try:
            client = await self._broker.client()
            async with client:
                yield client
        except (MqttError, OSError) as error:
            if client is not None and client.too_large:
                raise SourceError(
                    f"{self._broker} sent a message of {client.too_large} bytes, and {MAX_BYTES} "
                    "are taken; if it is retained there, take it back; let the station send less"
                ) from error
            raise SourceError(
                f"{self._broker} is not to be had ({error}); it is tried again; if this goes on, "
                "check that it runs, its address, and the user and password"
            ) from error

    async def _subscribe(self, client: Client, topic: str) -> None:
        granted = await client.subscribe(topic, qos=AT_LEAST_ONCE)
        if any(getattr(code, "is_failure", code == 0x80) for code in granted):
            raise SourceError(
                f"{self._broker} refuses the topic {topic!r}; let this user read it there"
            )

    async def _said(self, message: Message) -> Observations | SourceError | None:
        body = message.payload if isinstance(message.payload, bytes) else b""
        if not body:  # how a retained message is taken back
            return None
        topic, now = message.topic.value, self._clock()
        kept = message.retain or self._broker.session is not None
        work = partial(_rows, self._reader, Payload(topic, body, kept), now)
        try:
            rows = await self._bodies.read(work, size=len(body))
        except SourceError as error:
            return error
        if not rows:
            return None
        return observations(rows, now=now, site=self._site, source=self.name)
