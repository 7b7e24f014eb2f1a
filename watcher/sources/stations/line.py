"""A line to a station, kept open: what breaks is tried again, ever more patiently."""

import asyncio
import random
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing
from dataclasses import dataclass, field

from watcher.sources.base import Observations, SourceError

Said = AsyncGenerator[Observations | SourceError, None]

PAUSE_S = (1.0, 60.0)
"""First and longest pause before a line is tried again, before jitter (no source)."""


@dataclass(frozen=True)
class Patience:
    """How the time between tries is spent. Tests bring their own."""

    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep
    rng: random.Random = field(default_factory=random.Random)

    async def wait(self, failures: int) -> None:
        """Wait before trying again after so many failures in a row, at least one."""
        first, longest = PAUSE_S
        pause = min(longest, first * 2.0 ** min(failures - 1, 16))
        await self.sleep(pause * self.rng.uniform(0.5, 1.0))


async def kept_open(connect: Callable[[], Said], patience: Patience) -> Said:
    """Yield what every connection says, and why each of them ended.

    ``connect`` opens one connection and raises ``SourceError`` when it breaks. Weather that came
    through makes the next pause short again.
    """
    failures = 0
    while True:
        why = "the line was closed; it is opened again"
        try:
            async with aclosing(connect()) as said:
                async for one in said:
                    failures = 0 if isinstance(one, Observations) else failures
                    yield one
        except SourceError as error:
            why = str(error)
        # Not the error itself: its traceback would hold on to the broken line.
        yield SourceError(why)
        failures += 1
        await patience.wait(failures)
