"""The laboratory's own time: passes only while everybody waits."""

import asyncio
import time
from datetime import UTC, datetime

from tests.support.virtual_time import VirtualLoop, run

BEGIN = 1_781_107_200


def test_an_hour_asleep_passes_on_every_clock_of_the_machine():
    async def story(loop: VirtualLoop) -> tuple[float, float, datetime]:
        before = time.monotonic()
        await asyncio.sleep(3600)
        return time.time(), time.monotonic() - before, datetime.now(UTC)

    wall, steady, date = run(BEGIN, story)
    assert (round(wall), round(steady)) == (BEGIN + 3600, 3600)
    assert round(date.timestamp()) == BEGIN + 3600
    assert abs(time.time() - BEGIN) > 3600  # and is the machine's own again afterwards


def test_a_thread_takes_no_time_and_is_waited_for_before_a_deadline():
    async def story(loop: VirtualLoop) -> float:
        async with asyncio.timeout(0.001):
            await asyncio.to_thread(sum, range(1_000_000))
        return loop.time()

    assert run(BEGIN, story) == 0.0


def test_a_jump_moves_the_wall_clock_and_not_the_steady_one():
    async def story(loop: VirtualLoop) -> tuple[float, float]:
        loop.jump(-3600)
        await asyncio.sleep(10)
        return time.time(), time.monotonic()

    wall, steady = run(BEGIN, story)
    assert (round(wall), round(steady)) == (BEGIN - 3590, 10)
