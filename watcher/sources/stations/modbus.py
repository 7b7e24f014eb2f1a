"""A station asked for its registers over Modbus TCP (Modbus Application Protocol 1.1b3).

It only says what it measures at the moment: it is sampled, and readings are made of the samples.
"""

import math
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Literal, Protocol

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from watcher.sources.base import SourceError
from watcher.sources.stations.line import Patience, Said, kept_open
from watcher.sources.stations.rows import observations
from watcher.sources.stations.samples import Samples
from watcher.weather.quantities import InUnit
from watcher.weather.series import Site

Table = Literal["holding", "input"]
Words = list[int]

TIMEOUT_S = 3.0
TRIES_AGAIN = 1
_REFUSALS = {
    1: "it does not know the function",
    2: "it has no such register; check the address, which counts from 0, and the table",
    4: "it has failed, or is not this unit; check device",
    10: "its gateway has no path to this unit; check device",
    11: "nothing answers behind its gateway; check device",
}
"""Exception codes of the protocol, section 7."""


class RefusedError(SourceError):
    """The device answered that it will not tell these registers."""


@dataclass(frozen=True)
class ModbusAddress:
    """Where a device answers. ``device`` is its unit identifier."""

    host: str
    port: int = 502
    device: int = 1

    def __str__(self) -> str:
        return f"Modbus device {self.device} at {self.host}:{self.port}"

    @asynccontextmanager
    async def opened(self) -> "AsyncIterator[ModbusLine]":
        """Open a line; raises ``SourceError`` when nobody is there."""
        client = AsyncModbusTcpClient(
            self.host, port=self.port, timeout=TIMEOUT_S, retries=TRIES_AGAIN, reconnect_delay=0
        )
        try:
            if not await client.connect():
                raise SourceError(
                    f"{self} is not to be had; it is tried again; check its address and its power"
                )
            yield ModbusLine(self, client)
        finally:
            client.close()


class ModbusLine:
    """An open line to a device."""

    def __init__(self, port: ModbusAddress, client: AsyncModbusTcpClient) -> None:
        self._port = port
        self._client = client

    async def read(self, table: Table, address: int, count: int) -> Words:
        """Return registers; raises ``SourceError`` unless the device tells them all."""
        read = {
            "holding": self._client.read_holding_registers,
            "input": self._client.read_input_registers,
        }[table]
        where = f"{self._port}, {table} register {address}"
        try:
            answer: ModbusPDU = await read(address, count=count, device_id=self._port.device)
        except ModbusException as error:
            raise SourceError(
                f"{where}: no answer ({error}); it is tried again; check the line"
            ) from error
        if answer.isError():
            code = answer.exception_code
            why = _REFUSALS.get(code, "look the code up in its manual")
            raise RefusedError(f"{where}: refused with exception code {code}: {why}")
        if len(answer.registers) != count:
            raise SourceError(f"{where}: {len(answer.registers)} of {count} registers were sent")
        return list(answer.registers)


@dataclass(frozen=True)
class MappedRegister:
    """Where a quantity stands: (number * scale + offset) of ``measure``'s unit.

    ``missing`` is the number that stands for "not measured".
    """

    measure: InUnit
    address: int
    table: Table = "holding"
    type: Literal["int16", "uint16", "int32", "uint32", "float32"] = "int16"
    words: Literal["high first", "low first"] = "high first"
    scale: float = 1.0
    offset: float = 0.0
    missing: float | None = None

    @property
    def size(self) -> int:
        """How many registers it takes."""
        return 2 if self.type.endswith("32") else 1

    def value(self, words: Words) -> float | None:
        """Return the value in SI, None for one that is missing."""
        number = AsyncModbusTcpClient.convert_from_registers(
            words,
            AsyncModbusTcpClient.DATATYPE[self.type.upper()],
            word_order="big" if self.words == "high first" else "little",
        )
        if not isinstance(number, int | float) or not math.isfinite(number):
            return None
        if number == self.missing:
            return None
        return self.measure.si(number * self.scale + self.offset)


class Readable(Protocol):
    """Something that can be sampled."""

    async def sample(self, line: ModbusLine) -> dict[str, float]:
        """Return what the device measures now, SI by name in ``WeatherSeries``."""
        ...


class Map(Protocol):
    """What can be read from a device."""

    async def found(self, line: ModbusLine) -> Readable:
        """Return it as it is found in the device at the other end of the line."""
        ...


@dataclass(frozen=True)
class RegisterMap:
    """A map of registers that the grower gave."""

    registers: Sequence[MappedRegister]

    async def found(self, line: ModbusLine) -> Readable:
        """Return the map: it is where the grower said."""
        del line
        return self

    async def sample(self, line: ModbusLine) -> dict[str, float]:
        """Return what every register says, without what is missing."""
        values = {
            r.measure.quantity.column: r.value(await line.read(r.table, r.address, r.size))
            for r in self.registers
        }
        return {name: value for name, value in values.items() if value is not None}


class ModbusSource:
    """A station sampled every ``every_s``; ``samples`` makes readings of what it says."""

    def __init__(
        self,
        *,
        name: str,
        port: ModbusAddress,
        map_: Map,
        samples: Samples,
        every_s: float,
        site: Site,
        clock: Callable[[], int],
        patience: Patience | None = None,
    ) -> None:
        self.name = name
        self._port = port
        self._map = map_
        self._samples = samples
        self._every_s = every_s
        self._site = site
        self._clock = clock
        self._patience = patience or Patience()

    def stream(self) -> Said:
        """Yield the station's readings, and every trouble, until closed."""
        return kept_open(self._sampled, self._patience)

    async def _sampled(self) -> Said:
        async with self._port.opened() as line:
            readable = await self._map.found(line)
            while True:
                sample = await readable.sample(line)
                now = self._clock()
                rows = self._samples.add(now, sample)
                if rows:
                    yield observations(rows, now=now, site=self._site, source=self.name)
                await self._patience.sleep(self._every_s)
