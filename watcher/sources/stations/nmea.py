"""An instrument that speaks NMEA 0183, over TCP or a serial line.

Its sentences carry no date: each is of the moment it comes. Readings are made of many.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Protocol

from serial_asyncio_fast import open_serial_connection

from watcher.sources.base import SourceError
from watcher.sources.stations.line import Patience, Said, kept_open
from watcher.sources.stations.nmea_sentences import Sentences
from watcher.sources.stations.rows import observations
from watcher.sources.stations.samples import Samples
from watcher.weather.series import Site

QUIET_S = 60.0
"""A line on which nothing at all comes for so long is opened anew (no source)."""
OPENING_S = 10.0
LONGEST = 1024
"""Bytes of a line; the standard has 82."""
MOST_A_SECOND = 1000
"""Lines a second; more would keep the watch busy with nothing else (no source)."""
MANY = 20
"""So many bad lines in a row are reported (no source); noise spoils one now and then."""

Lines = asyncio.StreamReader


class NmeaAddress(Protocol):
    """Where an instrument is heard."""

    async def open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        """Open it; raises ``OSError``."""
        ...


@dataclass(frozen=True)
class TcpPort:
    """A line through a network."""

    host: str
    port: int

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"

    async def open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        """Open it; raises ``OSError``."""
        return await asyncio.open_connection(self.host, self.port, limit=LONGEST)


@dataclass(frozen=True)
class SerialPort:
    """A serial line of this machine: eight bits, no parity, one stop bit."""

    device: str
    baud: int = 4800

    def __str__(self) -> str:
        return f"{self.device} at {self.baud} baud"

    async def open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        """Open it; raises ``OSError``."""
        return await open_serial_connection(url=self.device, baudrate=self.baud, limit=LONGEST)


def port_of(address: str, baud: int) -> NmeaAddress:
    """Return the port of an address: "tcp://host:port", or a serial device."""
    if not address.startswith("tcp://"):
        return SerialPort(address, baud)
    host, _, port = address.removeprefix("tcp://").rpartition(":")
    return TcpPort(host, int(port))


class _Pace:
    """Counts the lines of each second."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._since, self._lines = self._loop.time(), 0

    def exceeded(self) -> bool:
        """Count a line; return whether there are too many in this second."""
        now = self._loop.time()
        if now - self._since >= 1.0:
            self._since, self._lines = now, 0
        self._lines += 1
        return self._lines > MOST_A_SECOND


class NmeaSource:
    """An instrument; ``samples`` makes readings of what its sentences say."""

    def __init__(
        self,
        *,
        name: str,
        port: NmeaAddress,
        sentences: Sentences,
        samples: Samples,
        site: Site,
        clock: Callable[[], int],
        patience: Patience | None = None,
    ) -> None:
        self.name = name
        self._port = port
        self._sentences = sentences
        self._samples = samples
        self._site = site
        self._clock = clock
        self._patience = patience or Patience()

    def stream(self) -> Said:
        """Yield the instrument's readings, and every trouble, until closed."""
        return kept_open(self._heard, self._patience)

    async def _heard(self) -> Said:
        bad, pace = 0, _Pace()
        async with self._opened() as reader:
            while True:
                line = await self._line(reader)
                if pace.exceeded():
                    raise SourceError(
                        f"{self._port} says more than {MOST_A_SECOND} lines a second, which no "
                        "instrument does; it is opened again; check the address"
                    )
                try:
                    sample = self._sentences.sample(line)
                except ValueError as error:
                    bad += 1
                    if bad % MANY == 0:
                        yield SourceError(
                            f"{self._port}: {bad} lines in a row are no whole NMEA 0183 sentences, "
                            f"the last: {line[:82]!a} ({error}); check the line and its baud rate"
                        )
                    continue
                bad = 0
                now = self._clock()
                rows = self._samples.add(now, sample) if sample else {}
                if rows:
                    yield observations(rows, now=now, site=self._site, source=self.name)

    @asynccontextmanager
    async def _opened(self) -> AsyncIterator[Lines]:
        try:
            async with asyncio.timeout(OPENING_S):
                reader, writer = await self._port.open()
        except OSError as error:  # a timeout is one, too
            raise SourceError(
                f"{self._port} cannot be opened ({error or 'no answer'}); it is tried again; check "
                "the address, the cable and who may use the device"
            ) from error
        try:
            yield reader
        except (OSError, EOFError) as error:
            raise SourceError(f"{self._port} was cut off; it is opened again") from error
        finally:
            writer.transport.abort()

    async def _line(self, reader: Lines) -> bytes:
        """Return the next line; what is longer than any sentence comes in parts."""
        try:
            async with asyncio.timeout(QUIET_S):
                return await reader.readuntil(b"\n")
        except asyncio.LimitOverrunError as error:
            return await reader.readexactly(error.consumed)
        except TimeoutError as error:
            raise SourceError(
                f"{self._port} has said nothing for {QUIET_S:g} s; it is opened again; check the "
                "instrument's power and cable"
            ) from error
