"""What a source is: something polled or pushed that yields weather, and how its health is told."""

from collections.abc import AsyncGenerator, Mapping
from dataclasses import dataclass, field
from enum import IntFlag
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import WeatherSeries


class Flag(IntFlag):
    """Quality-control findings on one value. Zero is good; raw values are never changed."""

    GOOD = 0
    RANGE = 1
    STEP = 2
    STUCK = 4
    INCONSISTENT = 8
    SUSPECT_SOURCE = 16  # the provider's own flag says failed or questioned
    FUTURE = 32
    DISAGREES = 64


Flags = Mapping[str, NDArray[np.uint16]]


@dataclass(frozen=True)
class Observations:
    """Measured weather of one source, raw, with the flags quality control put on each value.

    ``flags`` maps a quantity's name to an array as long as the series; quantities without any
    finding may be left out.
    """

    series: WeatherSeries
    flags: Flags = field(default_factory=dict)

    def usable(self) -> WeatherSeries:
        """Return the series with every flagged value missing: flagged values are not judged."""
        kept = {
            name: np.where(flags == 0, getattr(self.series, name), np.nan)
            for name, flags in self.flags.items()
        }
        return self.series.having(**kept)

    def at(self, index: slice) -> Self:
        """Return the observations at the given indices only."""
        kept = {name: flags[index] for name, flags in self.flags.items()}
        return type(self)(self.series.at(index), kept)

    def after(self, earlier: Self) -> Self:
        """Return what was measured earlier, as far as it is before these, and these as one."""
        first = int(np.searchsorted(earlier.series.times, self.series.times[0]))
        parts = (earlier.at(slice(0, first)), self)
        lengths = [len(part.series) for part in parts]
        arrays = {
            name: np.concatenate([getattr(part.series, name) for part in parts])
            for name in self.series.quantities()
        }
        flags = {
            name: np.concatenate(
                [
                    part.flags.get(name, np.zeros(length, dtype=np.uint16))
                    for part, length in zip(parts, lengths, strict=True)
                ]
            )
            for name in {*parts[0].flags, *self.flags}
        }
        times = np.concatenate([part.series.times for part in parts])
        series = WeatherSeries.of(times, self.series.site, self.series.source, arrays)
        return type(self)(series, flags)


@dataclass(frozen=True)
class Forecast:
    """A forecast as it was issued. ``issued_at`` and ``fetched_at`` are epoch seconds."""

    series: WeatherSeries
    issued_at: int
    fetched_at: int
    attribution: str


class SourceError(Exception):
    """The source gave nothing usable; the text says what, where and what to do."""


@dataclass(frozen=True)
class Polled:
    """What one poll brought. Both may be None when nothing is new."""

    observations: Observations | None = None
    forecast: Forecast | None = None

    @classmethod
    def nothing_new(cls) -> Self:
        return cls()


class PolledSource(Protocol):
    """A feed that is asked for its weather."""

    name: str
    attribution: str
    every_s: float

    async def poll(self, now: int) -> Polled:
        """Fetch what is new. ``now`` is epoch seconds. Raises SourceError, never anything else."""
        ...


class StreamedSource(Protocol):
    """A station that speaks by itself over a line that this side keeps open."""

    name: str

    def stream(self) -> AsyncGenerator[Observations | SourceError, None]:
        """Yield what it says, and every trouble with it, until closed.

        A broken line is mended from within; nothing is raised.
        """
        ...
