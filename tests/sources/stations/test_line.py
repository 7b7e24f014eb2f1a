"""A line that breaks is tried again by itself: how soon, and what is told meanwhile."""

import random
from contextlib import aclosing

import pytest

from watcher.sources.base import Observations, SourceError
from watcher.sources.stations.line import PAUSE_S, Patience, Said, kept_open
from watcher.weather.series import Site, WeatherSeries

READING = Observations(WeatherSeries.of([0], Site(41.0, -96.0), "mast", {"wind_m_s": [3.0]}))


class Waits:
    """Sleeps no time at all, and remembers for how long."""

    def __init__(self) -> None:
        self.waited: list[float] = []

    async def __call__(self, seconds: float) -> None:
        self.waited.append(seconds)


async def heard(
    connections: list[list[Observations | SourceError]], count: int, waits: Waits
) -> list[str]:
    """What comes out of connections that say these things and then break."""
    opened = iter(connections)

    async def connect() -> Said:
        for one in next(opened):
            yield one
        raise SourceError("cut")

    found = []
    patience = Patience(sleep=waits, rng=random.Random(1))
    async with aclosing(kept_open(connect, patience)) as said:
        async for one in said:
            found.append("reading" if isinstance(one, Observations) else str(one))
            if len(found) == count:
                return found
    raise AssertionError("the stream ended by itself")


async def test_readings_go_on_after_a_cut_which_is_told() -> None:
    said = await heard([[READING], [READING]], 3, Waits())
    assert said == ["reading", "cut", "reading"]


async def test_trouble_within_a_connection_does_not_end_it() -> None:
    waits = Waits()
    assert await heard([[SourceError("garbled"), READING]], 2, waits) == ["garbled", "reading"]
    assert waits.waited == []


async def test_pauses_double_from_the_first_to_the_longest() -> None:
    waits = Waits()
    await heard([[]] * 12, 12, waits)
    first, longest = PAUSE_S
    for failures, pause in enumerate(waits.waited):
        due = min(longest, first * 2**failures)
        assert 0.5 * due <= pause <= due
    assert max(waits.waited) > longest / 2


async def test_a_reading_makes_the_next_pause_short_again() -> None:
    waits = Waits()
    await heard([[]] * 6 + [[READING]] + [[]] * 2, 9, waits)
    assert waits.waited[5] > PAUSE_S[0] * 8
    assert waits.waited[6] <= PAUSE_S[0]


async def test_trouble_alone_does_not_make_the_pause_short() -> None:
    waits = Waits()
    await heard([[SourceError("garbled")]] * 7, 14, waits)
    assert waits.waited[5] > PAUSE_S[0] * 8


async def test_a_fault_of_the_program_is_not_hidden() -> None:
    async def connect() -> Said:
        raise ZeroDivisionError
        yield READING

    with pytest.raises(ZeroDivisionError):
        await anext(kept_open(connect, Patience()))


async def test_the_connection_is_closed_with_the_stream() -> None:
    closed = []

    async def connect() -> Said:
        try:
            while True:
                yield READING
        finally:
            closed.append(True)

    async with aclosing(kept_open(connect, Patience())) as said:
        await anext(said)
    assert closed == [True]
