"""Quality control of observations on arrival.

Raw values are never changed: a finding is a flag beside the value, and a flagged value is not
judged. Limits and where they are published: ``watcher.weather.quantities``.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from watcher.sources.base import Flag, Flags, Observations
from watcher.sources.quality.frozen import standing_still
from watcher.weather.quantities import CATALOGUE
from watcher.weather.quantity import Step, Stuck
from watcher.weather.series import QUANTITIES, Floats, Seconds, WeatherSeries
from watcher.weather.wind import CALM_M_S

DEW_POINT_OVER_K = 0.1
"""How far rounding may lift the dew point over the temperature (no source)."""
GUST_OVER_M_S = 75 * 1852 / 3600
"""Most that a gust may exceed the mean: 75 kt (MesoWest)."""
AHEAD_S = 120
"""How far a station's clock may run ahead (common practice, no source)."""
LEAST_SAMPLES = 12
"""Fewer values in a window tell nothing of a stuck sensor: hourly reports in whole knots repeat
themselves (no source)."""
SPANNED = 0.9
"""Share of a window that its values must span (no source)."""
_ROUNDING = 1e-6

Found = dict[str, NDArray[np.uint16]]


def check(observations: Observations, history: Observations | None = None) -> Observations:
    """Return the observations with flags added for range, step, standstill and contradiction.

    ``history`` is what the source measured before, with its flags, at least a day for the longest
    window; what of it is not before the observations is left aside. Flags that are there already
    stay, and such values are compared with no others.
    """
    count = len(observations.series)
    if not count:
        return observations
    known = observations if history is None else observations.after(history)
    series, none = known.series, np.zeros(len(known.series), dtype=np.uint16)
    found = {name: known.flags.get(name, none).copy() for name in QUANTITIES}
    _check_each(series, found)
    for quantity in CATALOGUE:
        if quantity.step is not None:
            _check_step(series, quantity.column, quantity.step, found)
    # A sensor that stood still already still does: values so flagged are looked at again.
    kept = {name: flags & ~np.uint16(Flag.STUCK) for name, flags in found.items()}
    standing = Observations(series, kept).usable()
    for quantity in CATALOGUE:
        for stuck in quantity.stuck:
            _check_stuck(standing, quantity.column, stuck, found, count)
    for name, still in standing_still(series, count).items():
        found[name][-count:][still] |= np.uint16(Flag.STUCK)
    new = {name: flags[-count:] for name, flags in found.items()}
    return Observations(
        observations.series, {name: flags for name, flags in new.items() if flags.any()}
    )


def impossible(series: WeatherSeries) -> Flags:
    """Return the flags of what cannot be by itself, or together with what is of the same time."""
    found = {name: np.zeros(len(series), dtype=np.uint16) for name in QUANTITIES}
    _check_each(series, found)
    return {name: flags for name, flags in found.items() if flags.any()}


def future_flags(times: Seconds, names: Iterable[str], now: int) -> Flags:
    """Return ``Flag.FUTURE`` for every value of a time more than two minutes ahead of ``now``."""
    ahead = np.where(times > now + AHEAD_S, Flag.FUTURE, Flag.GOOD).astype(np.uint16)
    return {name: ahead.copy() for name in names} if ahead.any() else {}


def dated(observations: Observations, now: int) -> Observations:
    """Return the observations with ``Flag.FUTURE`` as the time of their keeping has it.

    Where they were read by a clock that was set since, that one's finding does not count.
    """
    flags = {n: bits & ~np.uint16(Flag.FUTURE) for n, bits in observations.flags.items()}
    ahead = future_flags(observations.series.times, observations.flags, now)
    flags |= {name: flags[name] | bits for name, bits in ahead.items()}
    return Observations(observations.series, {n: bits for n, bits in flags.items() if bits.any()})


def _flag(found: Found, name: str, where: NDArray[np.bool_], flag: Flag) -> None:
    found[name][where] |= np.uint16(flag)


def _check_each(series: WeatherSeries, found: Found) -> None:
    _check_range(series, found)
    _check_contradiction(series, found)
    humidity = series.humidity_pct
    _flag(found, "humidity_pct", (humidity > 0) & (humidity <= 1.0), Flag.UNIT_SUSPECTED)


def _check_range(series: WeatherSeries, found: Found) -> None:
    for quantity in CATALOGUE:
        values = getattr(series, quantity.column)
        for limit in quantity.ranges:
            outside = (values < limit.low - _ROUNDING) | (values > limit.high + _ROUNDING)
            _flag(found, quantity.column, outside, Flag.RANGE)


def _check_contradiction(series: WeatherSeries, found: Found) -> None:
    """Flag what cannot be true together; both, where either may be the wrong one."""
    gusting = series.gust_m_s - series.wind_m_s
    for name in ("gust_m_s", "wind_m_s"):
        _flag(found, name, gusting < -_ROUNDING, Flag.INCONSISTENT)
    _flag(found, "gust_m_s", gusting >= GUST_OVER_M_S, Flag.INCONSISTENT)
    over = series.dew_point_c - series.temp_c > DEW_POINT_OVER_K + _ROUNDING
    for name in ("dew_point_c", "temp_c"):
        _flag(found, name, over, Flag.INCONSISTENT)


def _check_step(series: WeatherSeries, name: str, limit: Step, found: Found) -> None:
    """Flag every value that lies too far from the last good one before it."""
    values = getattr(series, name)
    given = np.flatnonzero(np.isfinite(values) & (found[name] == 0))
    if given.size < 2:
        return
    times, values = series.times[given], values[given]
    too_far = np.flatnonzero(np.abs(np.diff(values)) > _most(limit, np.diff(times)))
    good = 0
    # Only from a step on until a value agrees again does it matter which was the last good one.
    while (next_step := int(np.searchsorted(too_far, good))) < too_far.size:
        good = int(too_far[next_step])
        at = good + 1
        while at < given.size and abs(values[at] - values[good]) > _most(
            limit, times[at] - times[good]
        ):
            found[name][given[at]] |= np.uint16(Flag.STEP)
            at += 1
        good = at


def _most(limit: Step, elapsed: Seconds) -> Floats:
    seconds, most = zip(*limit.most, strict=True)
    allowed: Floats = np.interp(elapsed, seconds, most, right=np.inf) + _ROUNDING
    return allowed


def _check_stuck(known: WeatherSeries, name: str, limit: Stuck, found: Found, count: int) -> None:
    """Flag those of the last ``count`` values that end a window of standstill."""
    new = known.times[-count:]
    values = getattr(known, name)
    if name == "wind_from_deg":  # a vane tells of itself only while the wind moves it
        values = np.where(known.wind_m_s <= CALM_M_S, np.nan, values)
    given = np.isfinite(values)
    times, values = known.times[given], values[given]
    if name == "wind_from_deg":
        values = np.unwrap(values, period=360.0)
    starts = np.searchsorted(times, new - limit.window_s)
    ends = np.searchsorted(times, new, side="right")
    flagged = given[-count:] & (ends - starts >= LEAST_SAMPLES)
    if not flagged.any():
        return
    first, last = np.minimum(starts, times.size - 1), np.maximum(ends - 1, 0)
    flagged &= new - times[first] >= SPANNED * limit.window_s
    # Most windows show by their ends alone that the value moves; the others are gone through.
    flagged &= np.abs(values[last] - values[first]) <= limit.least + _ROUNDING
    at = np.flatnonzero(flagged)
    if not at.size:
        return
    apart = _highest(values, starts[at], ends[at]) + _highest(-values, starts[at], ends[at])
    flagged[at] = apart <= limit.least + _ROUNDING
    if limit.unless_wind_m_s is not None:
        flagged &= ~_stayed(known, -known.wind_m_s, -limit.unless_wind_m_s, new, limit.window_s)
    if limit.unless_humidity_pct is not None:
        wet = limit.unless_humidity_pct
        flagged &= ~_stayed(known, known.humidity_pct, wet, new, limit.window_s)
    found[name][-count:][flagged] |= np.uint16(Flag.STUCK)


def _stayed(
    known: WeatherSeries, values: Floats, least: float, new: Seconds, window_s: int
) -> NDArray[np.bool_]:
    """Whether values were given in the windows that end at ``new``, and none under ``least``."""
    given = np.isfinite(values)
    times = known.times[given]
    starts = np.searchsorted(times, new - window_s)
    ends = np.searchsorted(times, new, side="right")
    return (ends > starts) & (-_highest(-values[given], starts, ends) >= least)


def _highest(values: Floats, starts: Seconds, ends: Seconds) -> Floats:
    """Return the highest of ``values[start:end]`` for every pair; meaningless for an empty one."""
    bounds = np.column_stack([starts, np.maximum(ends, starts + 1)]).ravel()
    padded = np.append(values, [-np.inf, -np.inf])
    highest: Floats = np.maximum.reduceat(padded, bounds)[::2]
    return highest
