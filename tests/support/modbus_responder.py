"""A Modbus TCP responder on bare sockets, for what a library's server would never answer.

Written from the Modbus Application Protocol 1.1b3 (functions 3 and 4, exceptions) and the Modbus
Messaging on TCP/IP Guide 1.0b (the header: transaction, protocol 0, length, unit).
"""

import asyncio
import struct
from collections.abc import Callable
from typing import Self

Answer = Callable[[bytes], bytes]


class ModbusResponder:
    """Answers for unit ``device`` from ``holding`` and ``input``; what is not there is refused.

    ``spoil`` changes the bytes of every answer before they go out; empty bytes are silence.
    """

    def __init__(self, *, device: int = 1) -> None:
        self.tables: dict[int, dict[int, int]] = {3: {}, 4: {}}
        self.spoil: Answer = bytes
        self.asked: list[tuple[int, int, int]] = []
        self._device = device
        self._writers: list[asyncio.StreamWriter] = []

    @property
    def holding(self) -> dict[int, int]:
        return self.tables[3]

    @property
    def input(self) -> dict[int, int]:
        return self.tables[4]

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.port: int = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        self.cut()
        self._server.close()

    def cut(self) -> None:
        """Break every connection."""
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.append(writer)
        try:
            while True:
                transaction, _, length, unit = struct.unpack(">HHHB", await reader.readexactly(7))
                request = await reader.readexactly(length - 1)
                answer = self._answer(unit, request)
                header = struct.pack(">HHHB", transaction, 0, len(answer) + 1, unit)
                writer.write(self.spoil(header + answer))
        except (asyncio.IncompleteReadError, ConnectionError):
            writer.close()

    def _answer(self, unit: int, request: bytes) -> bytes:
        function, address, count = struct.unpack(">BHH", request)
        self.asked.append((function, address, count))
        table = self.tables.get(function)
        if unit != self._device:
            return bytes([function | 0x80, 11])
        if table is None:
            return bytes([function | 0x80, 1])
        wanted = range(address, address + count)
        if not all(register in table for register in wanted):
            return bytes([function | 0x80, 2])
        words = [table[register] for register in wanted]
        return struct.pack(f">BB{count}H", function, 2 * count, *words)
