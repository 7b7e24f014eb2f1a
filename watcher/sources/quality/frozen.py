"""A gateway that repeats its last report, and a gust that stands still while the wind moves.

A sensor alone may stand still by nature for hours; all quantities of a station together do not.
How long that takes depends on how finely it reports: in whole units a steady evening repeats itself
(``tests/published/test_standing_still_in_real_minutes.py`` has the figures).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.weather.quantities import CATALOGUE
from watcher.weather.quantity import Moves
from watcher.weather.series import Floats, Seconds, WeatherSeries
from watcher.weather.wind import CALM_M_S

_MINUTE_S = 60
FINE_M_S, FINE_K = 0.3, 0.3
"""A station that has shown a smaller step than this reports finely: less than half a knot, half a
mile an hour or half a degree Fahrenheit (no source)."""
_SPANNED = 0.9
"""Share of the time that what stands still must span, as for a stuck sensor (no source)."""
_GAP_S = 60 * _MINUTE_S
"""Hourly reports may repeat a value; one that is missing for longer begins anew (no source)."""
_ROUNDING = 1e-6

_TELLING = tuple(q.column for q in CATALOGUE if q.moves is Moves.TELLING)
_ALIVE = tuple(q.column for q in CATALOGUE if q.moves is Moves.ALIVE)
_LEAST_QUANTITIES = 3


@dataclass(frozen=True)
class StillLimit:
    """So long, over so many reports, nothing of a station stands still by itself.

    Common practice, no source. In 63 one-minute days of seven places, as they are and in steps of
    five and ten minutes, no report was so by nature.
    """

    lasts_s: int
    reports: int


FINE = StillLimit(30 * _MINUTE_S, 4)
COARSE = StillLimit(90 * _MINUTE_S, 7)
CALM = StillLimit(180 * _MINUTE_S, 7)
"""In a calm wind and gust are 0 by nature: only where the temperature is reported finely."""
WIND_MOVED_M_S = {FINE: 0.5, COARSE: 2.0}
"""How far the wind ranged while the gust stood still (no source)."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class _Run:
    """Of one quantity at every report: since when it is the same, how old its last value is, and
    its finest step so far."""

    since: Floats
    age_s: Floats
    step: Floats
    value: Floats


def standing_still(known: WeatherSeries, count: int) -> Mapping[str, Bools]:
    """Return where the last ``count`` values of each quantity belong to what stands still."""
    times = known.times
    runs = {name: _run(times, getattr(known, name)) for name in (*_TELLING, *_ALIVE)}
    found: dict[str, Bools] = {}
    repeated = _repeated(times, runs)[-count:]
    if repeated.any():
        given = known.quantities().items()
        found = {name: repeated & np.isfinite(values[-count:]) for name, values in given}
    gust = _gust_stands(known, runs)[-count:]
    if gust.any():
        found["gust_m_s"] = found.get("gust_m_s", np.zeros(count, np.bool_)) | gust
    return {name: where for name, where in found.items() if where.any()}


def _run(times: Seconds, values: Floats) -> _Run:
    given = np.flatnonzero(np.isfinite(values))
    if not given.size:
        nothing = np.full(times.size, np.nan)
        return _Run(nothing, nothing, nothing, nothing)
    at, kept = times[given].astype(np.float64), values[given]
    apart = np.abs(np.diff(kept, prepend=np.nan))
    # A value that was missing meanwhile did not stand still.
    moved = ~(apart <= _ROUNDING) | (np.diff(at, prepend=-np.inf) > _GAP_S)
    since = np.maximum.accumulate(np.where(moved, at, -np.inf))
    step = np.fmin.accumulate(np.where(apart > _ROUNDING, apart, np.inf))
    index = np.searchsorted(at, times, side="right") - 1
    there = index >= 0
    return _Run(
        since=np.where(there, since[index], np.nan),
        age_s=np.where(there, times - at[index], np.nan),
        step=np.where(there, step[index], np.nan),
        value=np.where(there, kept[index], np.nan),
    )


def _repeated(times: Seconds, runs: Mapping[str, _Run]) -> Bools:
    """Return where every quantity of a report is that of all reports for long enough. [T]"""
    wind, temp = runs["wind_m_s"], runs["temp_c"]
    blows = wind.value > CALM_M_S
    fine = blows & (wind.step <= FINE_M_S) & _all_stand(times, runs, FINE)
    coarse = blows & _all_stand(times, runs, COARSE)
    calm = ~blows & (temp.step <= FINE_K) & _all_stand(times, runs, CALM)
    repeated: Bools = fine | coarse | calm
    return repeated


def _all_stand(times: Seconds, runs: Mapping[str, _Run], still: StillLimit) -> Bools:
    speaks = {name: run.age_s <= still.lasts_s for name, run in runs.items()}
    since = np.max(
        [np.where(speaks[name], run.since, -np.inf) for name, run in runs.items()], axis=0
    )
    telling = np.sum([speaks[name] for name in _TELLING], axis=0)
    enough = speaks["wind_m_s"] & (telling >= _LEAST_QUANTITIES)
    stand: Bools = enough & _long_enough(times, since, still)
    return stand


def _long_enough(times: Seconds, since: Floats, still: StillLimit) -> Bools:
    since = np.where(np.isfinite(since), since, times)
    reports = np.arange(times.size) - np.searchsorted(times, since) + 1
    lasted = times - since >= _SPANNED * still.lasts_s
    enough: Bools = lasted & (reports >= still.reports)
    return enough


def _gust_stands(known: WeatherSeries, runs: Mapping[str, _Run]) -> Bools:
    """Return where the gust is the same for long although the wind moved. [T]"""
    gust, times = runs["gust_m_s"], known.times
    stands = np.zeros(times.size, dtype=np.bool_)
    blown = np.isfinite(known.gust_m_s) & (known.gust_m_s > CALM_M_S)
    for still, moved_m_s in WIND_MOVED_M_S.items():
        fine = gust.step <= FINE_M_S if still is FINE else np.ones(times.size, np.bool_)
        for at in np.flatnonzero(blown & fine & _long_enough(times, gust.since, still)):
            first = int(np.searchsorted(times, times[at] - still.lasts_s))
            winds = known.wind_m_s[first : at + 1]
            stands[at] |= bool(np.isfinite(winds).any()) and (
                np.nanmax(winds) - np.nanmin(winds) > moved_m_s
            )
    return stands
