"""Time that passes only while somebody sleeps."""

import asyncio


class FastTime:
    """A clock, and a sleep that sets it on at once. Starts at a whole minute."""

    def __init__(self, start: int = 1_781_272_800) -> None:
        self.seconds = float(start)

    def clock(self) -> int:
        return int(self.seconds)

    async def sleep(self, seconds: float) -> None:
        self.seconds += seconds
        await asyncio.sleep(0)
