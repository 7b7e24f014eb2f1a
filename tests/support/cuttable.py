"""A TCP proxy on loopback whose connections a test can cut or freeze."""

import asyncio
import contextlib
from typing import Self


class Cuttable:
    """Passes everything on to ``port``, until told otherwise. An async context manager."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._lines: list[asyncio.StreamWriter] = []
        self._tasks: set[asyncio.Task[None]] = set()
        self._flows = asyncio.Event()
        self._flows.set()
        self.port = 0
        self.opened = 0

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.close()
        self.cut()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def cut(self) -> None:
        """Break every connection at once, without a goodbye."""
        for writer in self._lines:
            writer.transport.abort()
        self._lines.clear()

    def freeze(self) -> None:
        """Pass nothing on any more, and break nothing: what a pulled cable looks like."""
        self._flows.clear()

    def thaw(self) -> None:
        """Pass everything on again."""
        self._flows.set()

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.opened += 1
        self._lines.append(writer)
        try:
            there, back = await asyncio.open_connection("127.0.0.1", self._to)
        except OSError:
            writer.transport.abort()
            return
        self._lines.append(back)
        for source, sink in ((reader, back), (there, writer)):
            task = asyncio.create_task(self._pass_on(source, sink))
            self._tasks.add(task)

    async def _pass_on(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while data := await source.read(4096):
                await self._flows.wait()
                sink.write(data)
                await sink.drain()
        sink.close()
