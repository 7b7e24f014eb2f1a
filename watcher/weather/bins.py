"""Weather over bins of the clock: means, extremes, the wind as a vector, and what they are made of.

Bins are of UTC and begin at whole multiples of their width since 1970, so that no change of the
clocks makes one longer or shorter. What is missing or doubted is left out and counted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.weather.quantities import CATALOGUE
from watcher.weather.quantity import Average
from watcher.weather.series import QUANTITIES, Bound, Floats, Seconds, Site, WeatherSeries
from watcher.weather.wind import (
    CALM_M_S,
    direction_of,
    eastward_northward,
    spread_of_mean_vector,
)

TEN_MINUTES_S, HOUR_S = 600, 3600
LEAST_FOR_SPREAD = 5
"""Fewer directions than this tell nothing of their spread (no source)."""

Counts = NDArray[np.int64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
N = TypeVar("N", np.float64, np.int64)

EXTRAS = ("east_m_s", "north_m_s", "temp_low_c", "temp_high_c", "rain_mm")
_HIGHEST = {q.column for q in CATALOGUE if q.average is Average.HIGHEST}
_SIDES: tuple[Literal["left"], Literal["right"]] = ("left", "right")


@dataclass(frozen=True)
class Bins:
    """Weather over equal bins, those without a reading left out. All arrays [B].

    ``series`` holds at the start of each bin: the mean of every quantity; of the gust the highest;
    of the direction the mean of unit vectors, calm winds left out; of its spread Yamartino's over
    the bin or the root mean square of the spreads given, whichever is wider. Beside it:

    =================  ============================================================================
    ``readings``       how many there were
    ``known``          of how many values each quantity is made, by name
    ``doubted``        how many values were left out because of a finding, by name
    ``east_m_s``       mean component of the wind towards the east; with speed and direction known
    ``north_m_s``      mean component towards the north
    ``temp_low_c``     lowest temperature
    ``temp_high_c``    highest temperature
    ``rain_mm``        rain that fell while readings were there: the mean rate for as long as they
                       stand, each for the usual time between two of them
    =================  ============================================================================
    """

    width_s: int
    series: WeatherSeries
    readings: Counts
    known: Mapping[str, Counts]
    doubted: Mapping[str, Counts]
    east_m_s: Floats
    north_m_s: Floats
    temp_low_c: Floats
    temp_high_c: Floats
    rain_mm: Floats

    def __len__(self) -> int:
        return len(self.series)

    def at(self, index: slice | Bools | Indices) -> Self:
        """Return the bins at the given indices only."""
        return type(self)(
            self.width_s,
            self.series.at(index),
            self.readings[index],
            {name: counts[index] for name, counts in self.known.items()},
            {name: counts[index] for name, counts in self.doubted.items()},
            **{name: getattr(self, name)[index] for name in EXTRAS},
        )


def over_bins(
    series: WeatherSeries, *, width_s: int, doubted: Mapping[str, Bools] | None = None
) -> Bins:
    """Return a series' weather over bins of ``width_s``; ``doubted`` marks values to leave out."""
    no_doubt = np.zeros(len(series), dtype=np.bool_)
    doubts = {name: (doubted or {}).get(name, no_doubt) for name in QUANTITIES}
    good = series.having(
        **{n: np.where(doubts[n], np.nan, values) for n, values in series.quantities().items()}
    )
    good = good.unbounded(QUANTITIES, doubts["wind_m_s"] | doubts["gust_m_s"])
    start_of_each = series.times // width_s * width_s
    starts = _firsts(start_of_each)
    readings = _summed(np.ones(len(series), dtype=np.int64), starts)
    known = {n: _summed(_finite(v), starts) for n, v in good.quantities().items()}
    values = {n: _value(n, v, starts) for n, v in good.quantities().items()}
    values |= _directions(good, starts)
    east, north = _vector(good, starts)
    bounds = {name: _bounds(name, good, starts) for name in good.bounds}
    return Bins(
        width_s,
        WeatherSeries.of(start_of_each[starts], series.site, series.source, values, bounds),
        readings,
        known,
        {name: _summed(marks.astype(np.int64), starts) for name, marks in doubts.items()},
        east_m_s=east,
        north_m_s=north,
        temp_low_c=-_highest(-good.temp_c, starts),
        temp_high_c=_highest(good.temp_c, starts),
        rain_mm=_rain(values["rain_mm_h"], known["rain_mm_h"], series.times, starts, width_s),
    )


def widened(bins: Bins, inside_deg: float, *, of_readings: bool) -> WeatherSeries:
    """Return the bins' series with the direction's spread as it really was.

    What is made of the directions of readings lacks the swing inside each of them: that is added as
    one variance to another. ``inside_deg`` is that swing where the source gives no spread of its
    own; one that it gives stands, or is that swing where ``of_readings`` says so.
    """
    found = bins.series.wind_spread_deg
    given = bins.known["wind_spread_deg"] > 0
    own = found
    if of_readings:
        # The spread of a bin is the wider one of that between its readings and the one given.
        # Between them: as far as the wind's vectors cancel out.
        with np.errstate(invalid="ignore", divide="ignore"):
            still = np.hypot(bins.east_m_s, bins.north_m_s) / bins.series.wind_m_s
        several = (bins.known["wind_from_deg"] > 1) & (still < 1.0)
        between = spread_of_mean_vector(np.where(several, still, 1.0), np.zeros(still.shape))
        own = np.where(found > between, np.hypot(found, between), np.hypot(found, inside_deg))
    return bins.series.having(wind_spread_deg=np.where(given, own, np.hypot(found, inside_deg)))


def joined(parts: Sequence[Bins], *, width_s: int, site: Site, source: str) -> Bins:
    """Return bins of one source as one; of bins of the same time the one of most readings, or the
    last of those."""
    times = _together([part.series.times for part in parts], np.int64)
    readings = _together([part.readings for part in parts], np.int64)
    order = np.lexsort((np.arange(times.size), readings, times))
    last = np.append(np.diff(times[order]) > 0, True) if times.size else np.zeros(0, np.bool_)
    kept = order[last]

    def values(name: str) -> Floats:
        found: Floats = _together([getattr(part.series, name) for part in parts], np.float64)[kept]
        return found

    def counts(kind: str, name: str) -> Counts:
        found: Counts = _together([getattr(part, kind)[name] for part in parts], np.int64)[kept]
        return found

    bounds = {
        name: (
            _together([part.series.bound(name)[0] for part in parts], np.float64)[kept],
            _together([part.series.bound(name)[1] for part in parts], np.float64)[kept],
        )
        for name in {name for part in parts for name in part.series.bounds}
    }
    every = {name: values(name) for name in QUANTITIES}
    return Bins(
        width_s,
        WeatherSeries.of(times[kept], site, source, every, bounds),
        readings[kept],
        {name: counts("known", name) for name in QUANTITIES},
        {name: counts("doubted", name) for name in QUANTITIES},
        **{n: _together([getattr(part, n) for part in parts], np.float64)[kept] for n in EXTRAS},
    )


def _together(arrays: Sequence[NDArray[N]], kind: type[N]) -> NDArray[N]:
    return np.concatenate([np.zeros(0, dtype=kind), *arrays])


def _firsts(keys: Seconds) -> Indices:
    """Return where each run of equal keys begins."""
    return np.flatnonzero(np.append(True, keys[1:] != keys[:-1])[: keys.size])


def _finite(values: Floats) -> Counts:
    return np.isfinite(values).astype(np.int64)


def _summed(values: NDArray[N], starts: Indices) -> NDArray[N]:
    return np.add.reduceat(values, starts) if starts.size else values[:0]


def _mean(values: Floats, starts: Indices) -> Floats:
    count = _summed(_finite(values), starts)
    total = _summed(np.where(np.isfinite(values), values, 0.0), starts)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _highest(values: Floats, starts: Indices) -> Floats:
    known = np.where(np.isfinite(values), values, np.nan)
    return np.fmax.reduceat(known, starts) if starts.size else known[:0]


def _value(name: str, values: Floats, starts: Indices) -> Floats:
    return _highest(values, starts) if name in _HIGHEST else _mean(values, starts)


def _bounds(name: str, good: WeatherSeries, starts: Indices) -> Bound:
    """Return the bounds of bins in which a value was only bounded; NaN for the others."""
    least, most = good.bounds[name]
    values = getattr(good, name)
    bounded = ~(np.isnan(least) & np.isnan(most))
    low, high = (np.where(bounded, side, values) for side in (least, most))
    open_above = _summed((bounded & np.isnan(most)).astype(np.int64), starts) > 0
    open_below = _summed((bounded & np.isnan(least)).astype(np.int64), starts) > 0
    low, high = _value(name, low, starts), _value(name, high, starts)
    if name not in _HIGHEST:  # a mean with an open side has that side open itself
        low = np.where(open_below, np.nan, low)
    high = np.where(open_above, np.nan, high)
    any_bounded = _summed(bounded.astype(np.int64), starts) > 0
    any_bounded &= ~(low == high)
    return np.where(any_bounded, low, np.nan), np.where(any_bounded, high, np.nan)


def _directions(good: WeatherSeries, starts: Indices) -> dict[str, Floats]:
    # A vane in a calm points where it was last blown.
    angle = np.where(good.wind_m_s < CALM_M_S, np.nan, np.radians(good.wind_from_deg))
    sine, cosine = _mean(np.sin(angle), starts), _mean(np.cos(angle), starts)
    enough = _summed(_finite(angle), starts) >= LEAST_FOR_SPREAD
    spread = np.where(enough, spread_of_mean_vector(sine, cosine), np.nan)
    given = np.sqrt(_mean(good.wind_spread_deg**2, starts))
    return {"wind_from_deg": direction_of(sine, cosine), "wind_spread_deg": np.fmax(spread, given)}


def _vector(good: WeatherSeries, starts: Indices) -> tuple[Floats, Floats]:
    # A calm blows nowhere, whether or not it has a direction.
    from_deg = np.where(good.wind_m_s == 0, 0.0, good.wind_from_deg)
    east, north = eastward_northward(wind_m_s=good.wind_m_s, from_deg=from_deg)
    return _mean(east, starts), _mean(north, starts)


def _rain(
    rate_mm_h: Floats, known: Counts, times: Seconds, starts: Indices, width_s: int
) -> Floats:
    stands = np.minimum(known * _usual_step(times, starts), width_s)
    return rate_mm_h * stands / HOUR_S


def _usual_step(times: Seconds, starts: Indices) -> Floats:
    """Return the median time between the readings of the hour each bin begins in; an hour for one
    that stands alone in its hour. [B], s"""
    hours = times // HOUR_S
    within = np.flatnonzero(hours[1:] == hours[:-1])
    steps, of_hour = np.diff(times)[within], hours[within]
    order = np.lexsort((steps, of_hour))
    steps, of_hour = steps[order], of_hour[order]
    firsts, ends = (np.searchsorted(of_hour, hours[starts], side=side) for side in _SIDES)
    middle = np.minimum((firsts + ends - 1) // 2, steps.size - 1)
    return np.where(ends > firsts, np.append(steps, HOUR_S)[middle], HOUR_S).astype(np.float64)
