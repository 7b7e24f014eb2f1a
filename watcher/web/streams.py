"""Streams of server-sent events: how many may be open, and what wakes them."""

import asyncio
from collections import Counter
from collections.abc import Hashable, Iterator
from contextlib import contextmanager

from watcher.service.watch import Watch


class Streams:
    """The open streams. ``close`` ends them, so that the server need not wait for their readers."""

    def __init__(self, *, of_one: int, in_all: int) -> None:
        self._closing = asyncio.Event()
        self._of_one, self._in_all = of_one, in_all
        self._open: Counter[Hashable] = Counter()

    def close(self) -> None:
        """End every stream."""
        self._closing.set()

    @property
    def closing(self) -> bool:
        """Whether they are to end."""
        return self._closing.is_set()

    def full(self, who: Hashable) -> bool:
        """Return whether there is no room for one more of somebody's."""
        return self._open[who] >= self._of_one or self._open.total() >= self._in_all

    @contextmanager
    def room(self, who: Hashable) -> Iterator[bool]:
        """Count a stream as open while the block runs; yields whether there is room for it."""
        if self.full(who):
            yield False
            return
        self._open[who] += 1
        try:
            yield True
        finally:
            self._open[who] -= 1
            if not self._open[who]:
                del self._open[who]

    async def next(self, watch: Watch, judged: int, within_s: float) -> None:
        """Wait for a judgement after one, for the end, or for so long."""
        waiting = {
            asyncio.create_task(_judged(watch, judged)),
            asyncio.create_task(self._closing.wait()),
        }
        try:
            await asyncio.wait(waiting, timeout=within_s, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in waiting:
                task.cancel()
            await asyncio.gather(*waiting, return_exceptions=True)


async def _judged(watch: Watch, judged: int) -> None:
    async with watch.changed:
        await watch.changed.wait_for(lambda: watch.judged != judged)


def event(name: str, data: str, number: str = "") -> str:
    """Return an event as it is written; ``data`` has one line."""
    known = f"id: {number}\n" if number else ""
    return f"{known}event: {name}\ndata: {data}\n\n"


HEADERS = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
"""A proxy that collects events makes them late."""
