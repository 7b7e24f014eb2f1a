"""What a source is: something polled or pushed that yields weather, and how its health is shown."""

from collections.abc import AsyncGenerator, Mapping
from dataclasses import dataclass, field
from enum import IntFlag
from typing import Literal, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import QUANTITIES, Floats, Seconds, WeatherSeries
from watcher.weather.wind import CALM_M_S


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
    UNIT_SUSPECTED = 128  # as it is it contradicts its witnesses, in another unit it would agree


MOST_FORECAST_TIMES = 5000
"""Sixteen days of quarter hours are a third of it (no source)."""
MOST_READINGS = 100_000
"""Two months of minutes (no source)."""

Flags = Mapping[str, NDArray[np.uint16]]


@dataclass(frozen=True)
class RainFall:
    """Rain as a gauge reported it, at some times of a series: in mm, not as a rate.

    ``is_total``: a count that only grows, and now and then begins anew; else what fell since the
    reading before.
    """

    times: Seconds
    mm: Floats
    is_total: bool


@dataclass(frozen=True)
class Observations:
    """Measured weather of one source, raw, with the flags quality control put on each value.

    ``flags`` maps a quantity's name to an array as long as the series; quantities without any
    finding may be left out. ``rain_fall`` is still to be made into rates, ``ignored`` names what
    was sent beside and is not read; both are of what has just come in.
    """

    series: WeatherSeries
    flags: Flags = field(default_factory=dict)
    rain_fall: RainFall | None = None
    ignored: tuple[str, ...] = ()

    def usable(self) -> WeatherSeries:
        """Return the series with every flagged value missing: flagged values are not judged.

        The direction of a calm is missing too. That is no doubt about the vane: in still air it
        points where it was last blown, and a calm has no direction (FM 15 reports it as 00000).
        """
        kept = {
            name: np.where(flags == 0, getattr(self.series, name), np.nan)
            for name, flags in self.flags.items()
        }
        still = self.series.wind_m_s < CALM_M_S
        if still.any():
            from_deg = kept.get("wind_from_deg", self.series.wind_from_deg)
            kept["wind_from_deg"] = np.where(still, np.nan, from_deg)
        usable = self.series.having(**kept)
        if not usable.bounds:
            return usable
        # What lies between bounds comes from a wind: where that is doubted, so are they.
        doubted = np.zeros(len(usable), dtype=np.bool_)
        for name in ("wind_m_s", "gust_m_s"):
            doubted |= self.flags.get(name, np.zeros(len(usable), np.uint16)) != 0
        return usable.unbounded(QUANTITIES, doubted)

    def at(self, index: slice) -> Self:
        """Return the observations at the given indices only."""
        kept = {name: flags[index] for name, flags in self.flags.items()}
        return type(self)(self.series.at(index), kept)

    def between(self, start: int, end: int) -> Self:
        """Return the part with ``start <= time < end`` (epoch seconds)."""
        first, last = np.searchsorted(self.series.times, [start, end])
        return self.at(slice(int(first), int(last)))

    def without(self, findings: Flag) -> Self:
        """Return the observations as if these had not been found."""
        kept = {name: flags & ~np.uint16(findings) for name, flags in self.flags.items()}
        return type(self)(self.series, kept)

    def over(self, known: Self) -> Self:
        """Return these with what is known of the same times put in where they give no value.

        ``known`` is of no other times. Findings go with their quantity.
        """
        if not len(known.series):
            return self
        at = np.searchsorted(self.series.times, known.series.times)
        none = np.zeros(len(self.series), dtype=np.uint16)
        arrays, flags = {}, dict(self.flags)
        for name, values in self.series.quantities().items():
            former = np.full(len(self.series), np.nan)
            former[at] = getattr(known.series, name)
            said = ~np.isnan(values)
            arrays[name] = np.where(said, values, former)
            if name in known.flags:
                found = none.copy()
                found[at] = known.flags[name]
                flags[name] = np.where(said, self.flags.get(name, none), found)
        bounds = dict(self.series.bounds)
        for name in known.series.bounds:
            least, most = (side.copy() for side in self.series.bound(name))
            has_wind = np.isfinite(self.series.wind_m_s) | np.isfinite(self.series.gust_m_s)
            free = at[np.isnan(least[at]) & np.isnan(most[at]) & ~has_wind[at]]
            of_known = np.searchsorted(known.series.times, self.series.times[free])
            for side, former in zip((least, most), known.series.bounds[name], strict=True):
                side[free] = former[of_known]
            bounds[name] = (least, most)
        whole = self.series.having(**arrays).bounded(bounds)
        for name in bounds:  # what was measured counts before what it may be
            whole = whole.unbounded((name,), np.isfinite(arrays[name]))
        return type(self)(whole, flags)

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
        names = {name for part in parts for name in part.series.bounds}
        bounds = {
            name: (
                np.concatenate([part.series.bound(name)[0] for part in parts]),
                np.concatenate([part.series.bound(name)[1] for part in parts]),
            )
            for name in names
        }
        series = WeatherSeries.of(times, self.series.site, self.series.source, arrays, bounds)
        return type(self)(series, flags)


Statistic = Literal["instant", "mean", "maximum", "sum", "probability"]
"""What a value tells of its interval."""


@dataclass(frozen=True)
class GivenValues:
    """One quantity of a forecast as the feed gave it, before anything was shifted or spread.

    ``starts`` are epoch seconds, ``intervals`` seconds, 0 for a moment; both are as long as
    ``values`` (SI; of a sum in mm).
    """

    quantity: str
    statistic: Statistic
    starts: Seconds
    intervals: Seconds
    values: Floats


@dataclass(frozen=True)
class Forecast:
    """A forecast as it was issued. Times are epoch seconds.

    ``fetched_at`` is when the feed last stood by it, ``first_fetched_at`` when it first gave it
    (None: then as well). ``run_at`` and ``model`` are what the feed says of its model.
    """

    series: WeatherSeries
    issued_at: int
    fetched_at: int
    attribution: str
    run_at: int | None = None
    model: str | None = None
    given: tuple[GivenValues, ...] = ()
    first_fetched_at: int | None = None

    @property
    def begins_at(self) -> int:
        """When it was first fetched."""
        return self.fetched_at if self.first_fetched_at is None else self.first_fetched_at

    @property
    def tells_issue(self) -> bool:
        """Whether the feed says when it was issued; else that is when it was first fetched."""
        return self.run_at is not None or self.issued_at != self.begins_at


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

    def check_length(self) -> None:
        """Raise ``SourceError`` for more than any source has: to keep it would hold up the rest."""
        hours = 0 if self.forecast is None else len(self.forecast.series)
        readings = 0 if self.observations is None else len(self.observations.series)
        for count, most, what in (
            (hours, MOST_FORECAST_TIMES, "forecast times"),
            (readings, MOST_READINGS, "readings"),
        ):
            if count > most:
                raise SourceError(
                    f"it sent {count} {what} at once, and {most} are taken; ask it for less"
                )


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
