"""A station heard through an MQTT broker (3.1.1 or 5; OASIS standards), kept subscribed.

Readings that come again, retained or redelivered, change nothing: each has its own time, and the
log knows it. Messages without one count as of now only when they cannot be old.
"""

import asyncio
import ssl
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from aiomqtt import Client, Message, MqttError, ProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from watcher.sources.base import Observations, SourceError
from watcher.sources.line import Patience, Said, kept_open
from watcher.sources.mqtt_payload import Payload, Reader
from watcher.sources.rows import Merged, observations
from watcher.weather.series import Site

KEEP_ALIVE_S = 30
"""A line is given up after one and a half times as long without a sign of life."""
SESSION_KEPT_S = 7 * 86_400
"""How long a broker is asked to keep what comes in while this side is away (MQTT 5)."""
MOST_WAITING = 10_000
"""Messages that may wait to be read; more are dropped, loudly."""
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

    async def client(self) -> Client:
        """Return a client that is yet to connect; ``OSError`` for unusable certificates."""
        context = await asyncio.to_thread(self._tls_context) if self.tls else None
        return Client(
            self.host,
            self.port,
            username=self.user,
            password=self.password,
            identifier=self.session,
            protocol=self.version,
            tls_context=context,
            keepalive=KEEP_ALIVE_S,
            max_queued_incoming_messages=MOST_WAITING,
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


class MqttStation:
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
    ) -> None:
        self.name = name
        self._broker = broker
        self._reader = reader
        self._site = site
        self._clock = clock
        self._patience = patience or Patience()
        self._merged = Merged()

    def stream(self) -> Said:
        """Yield the station's readings, and every trouble, until closed."""
        return kept_open(self._subscribed, self._patience)

    async def _subscribed(self) -> Said:
        async with self._line() as client:
            for topic in self._reader.topics:
                await self._subscribe(client, topic)
            async for message in client.messages:
                said = self._said(message)
                if said is not None:
                    yield said

    @asynccontextmanager
    async def _line(self) -> AsyncIterator[Client]:
        try:
            async with await self._broker.client() as client:
                yield client
        except (MqttError, OSError) as error:
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

    def _said(self, message: Message) -> Observations | SourceError | None:
        body = message.payload if isinstance(message.payload, bytes) else b""
        if not body:  # how a retained message is taken back
            return None
        topic, now = message.topic.value, self._clock()
        kept = message.retain or self._broker.session is not None
        try:
            rows = self._reader.rows(Payload(topic, body, kept), now)
        except ValueError as error:
            return SourceError(
                f"the message on {topic!r} cannot be read: {error}; check what the station sends "
                "and how it is mapped"
            )
        if not rows:
            return None
        merged = self._merged.with_(rows)
        return observations(merged, now=now, site=self._site, source=self.name)
