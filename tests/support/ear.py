"""An ear for a station that speaks by itself: keeps what it says and waits for what is needed."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from watcher.sources.base import Observations, SourceError, StreamedSource
from watcher.sources.stations.line import Said


class Ear:
    """What was heard so far, and every trouble in words."""

    def __init__(self, stream: Said) -> None:
        self.heard: list[Observations] = []
        self.trouble: list[str] = []
        self._changed = asyncio.Condition()
        self.task = asyncio.create_task(self._listen(stream))

    async def _listen(self, stream: Said) -> None:
        async for said in stream:
            if isinstance(said, SourceError):
                self.trouble.append(str(said))
            else:
                self.heard.append(said)
            async with self._changed:
                self._changed.notify_all()

    async def until(self, *, heard: int = 0, trouble: int = 0, within_s: float = 15.0) -> None:
        """Wait until so much was heard and so much went wrong."""

        def enough() -> bool:
            return len(self.heard) >= heard and len(self.trouble) >= trouble

        async with asyncio.timeout(within_s), self._changed:
            while not enough():
                assert not self.task.done(), self.task.result()
                await self._changed.wait()

    def values(self, quantity: str) -> list[tuple[int, float]]:
        """Every time and value of a quantity, in the order they were heard."""
        return [
            (int(time), float(value))
            for said in self.heard
            for time, value in zip(said.series.times, getattr(said.series, quantity), strict=True)
        ]


@asynccontextmanager
async def listening(source: StreamedSource) -> AsyncIterator[Ear]:
    """Listen to a station until the block ends."""
    stream = source.stream()
    ear = Ear(stream)
    try:
        yield ear
    finally:
        ear.task.cancel()
        await asyncio.gather(ear.task, return_exceptions=True)
        await stream.aclose()
