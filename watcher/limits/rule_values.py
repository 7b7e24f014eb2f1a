"""What rules are judged by that no series has: the day's high, rain ahead, wind at a height."""

import math
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property
from typing import Any, Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from watcher.farm.rules.mix import heights
from watcher.farm.rules.weather import WindRule
from watcher.limits.boom_wind import WindPlace, doubt_of
from watcher.limits.hours import ends, next_true
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.wind_profile import gust_at_height

_MEAN_S = 600.0
"""What a series' wind is averaged over. [s]"""
_GUST_S = 3.0
"""What its gust is averaged over. [s]"""


def local_days(series: WeatherSeries, zone: ZoneInfo) -> NDArray[np.int64]:
    """Return the farm's calendar day of each time, as ``date.toordinal`` counts them. [T]"""
    return np.array(
        [datetime.fromtimestamp(int(t), zone).date().toordinal() for t in series.times.tolist()],
        dtype=np.int64,
    )


def each_run(series: WeatherSeries) -> list[WeatherSeries]:
    """Return the runs of a series apart: none knows anything of another."""
    if series.runs == 1:
        return [series]
    size = len(series) // series.runs
    values: dict[str, Any] = series.quantities()
    spans = [slice(start, start + size) for start in range(0, len(series), size)]
    return [
        WeatherSeries(
            series.times[span],
            series.site,
            series.source,
            **{name: of_run[span] for name, of_run in values.items()},
        )
        for span in spans
    ]


@dataclass(frozen=True)
class DayHighs:
    """The highest temperature of each of some days. Its first day is ``first``. [D], degC"""

    first: int
    high_c: Floats
    """The highest that is known of the day."""
    whole: NDArray[np.bool_]
    """Whether all of the day is known, from midnight to midnight on the farm's clock."""

    @classmethod
    def of(cls, series: WeatherSeries, zone: ZoneInfo) -> "DayHighs":
        """Work them out for the days of a series and the one after."""
        days = local_days(series, zone)
        first, count = int(days[0]), int(days[-1] - days[0]) + 2
        until = ends(series)[-1]
        highs, whole = np.full(count, np.nan), np.zeros(count, dtype=bool)
        for n in range(count):
            start, end = (_midnight(first + n + more, zone) for more in (0, 1))
            begin = int(np.searchsorted(series.times, start, side="right")) - 1
            temps = series.temp_c[max(begin, 0) : int(np.searchsorted(series.times, end))]
            known = temps[~np.isnan(temps)]
            if known.size:
                highs[n] = known.max()
            whole[n] = begin >= 0 and known.size == temps.size and until >= end
        return cls(first, highs, whole)

    def on(self, days: NDArray[np.int64]) -> tuple[Floats, NDArray[np.bool_]]:
        """Return the high known of each of some days, and whether all of the day is known."""
        place = days - self.first
        inside = (place >= 0) & (place < self.high_c.size)
        at = np.clip(place, 0, self.high_c.size - 1)
        return np.where(inside, self.high_c[at], np.nan), inside & self.whole[at]


def _midnight(ordinal: int, zone: ZoneInfo) -> float:
    return datetime.combine(date.fromordinal(ordinal), time(0), zone).timestamp()


@dataclass(frozen=True)
class RainAhead:
    """Rain from each time on, as a running total of the series."""

    series: WeatherSeries

    @cached_property
    def _edges(self) -> Floats:
        return np.append(self.series.times.astype(np.float64), ends(self.series)[-1])

    @cached_property
    def _total_mm(self) -> Floats:
        rates = np.nan_to_num(self.series.rain_mm_h, nan=0.0)
        return np.append(0.0, np.cumsum(rates * np.diff(self._edges) / 3600.0))

    def amount_mm(self, until: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        """Return the rain from each time to ``until`` [..., T], and whether all of it is known."""
        total = np.interp(until, self._edges, self._total_mm) - self._total_mm[:-1]
        known_to = next_true(self.series, np.isnan(self.series.rain_mm_h))
        return total, until <= np.minimum(known_to, self._edges[-1])

    def chance_over(
        self, percent: float, until: Floats
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Return whether the chance of rain passes a bound before ``until``, and whether known."""
        chance = self.series.rain_chance_pct
        over = next_true(self.series, chance > percent) < until
        known_to = next_true(self.series, np.isnan(chance))
        return over, until <= np.minimum(known_to, self._edges[-1])


def wind_ends(series: WeatherSeries) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Return the least and the most that wind and gust may be; NaN where they are exactly known.

    Where only one of them lies between bounds, the other is both ends itself.
    """
    names = ("wind_m_s", "gust_m_s")
    given = {n: series.bounds[n] for n in names if n in series.bounds}
    between = np.zeros(len(series), dtype=bool)
    for least, most in given.values():
        between |= ~(np.isnan(least) & np.isnan(most))
    ends: tuple[dict[str, Floats], dict[str, Floats]] = ({}, {})
    for name in names:
        value = np.where(between, getattr(series, name), np.nan)
        for side, bound in zip(ends, given.get(name, (value, value)), strict=True):
            side[name] = np.where(np.isnan(bound), value, bound)
    return ends


@dataclass(frozen=True)
class RuleWind:
    """The wind at the heights a rule's bounds are meant at. Broadcasts to [S, T], m/s"""

    low_m_s: Floats
    """Held against the low bound."""
    high_m_s: Floats
    """Held against the high bound, over the rule's own averaging."""
    gust_m_s: Floats
    """Held against the high bound where gusts count."""
    low_doubt_m_s: Floats
    high_doubt_m_s: Floats
    """Standard deviations that they have from being brought there."""


def wind_for(rule: WindRule, series: WeatherSeries, obukhov_m: Floats, boom: WindPlace) -> RuleWind:
    """Bring the wind to the heights of a rule. ``boom`` [S, 1] is where the booms are.

    A height that is named is above the ground in the open, over short grass.
    """
    at = heights(rule)
    low, _, low_doubt = _at(at["low"], series, obukhov_m, boom)
    mean, gust, doubt = _at(at["high"], series, obukhov_m, boom)
    return RuleWind(low, averaged(mean, gust, rule.averaging), gust, low_doubt, doubt)


def _at(
    height_m: float | None, series: WeatherSeries, obukhov_m: Floats, boom: WindPlace
) -> tuple[Floats, Floats, Floats]:
    """The mean and the gust at a height, and the doubt of both from being brought there."""
    if height_m == series.site.wind_height_m:  # as measured; no profile is needed
        share = np.ones((1, 1))
    else:
        place = boom if height_m is None else WindPlace.in_the_open(height_m)
        share = np.atleast_2d(place.wind_share(series.site, obukhov_m))
    mean = share * series.wind_m_s
    gust = gust_at_height(wind_m_s=series.wind_m_s, gust_m_s=series.gust_m_s, there_m_s=mean)
    return mean, gust, doubt_of(share, mean, obukhov_m)


def averaged(mean_m_s: Floats, gust_m_s: Floats, averaging: float | Literal["unstated"]) -> Floats:
    """Return the highest mean over a rule's own averaging time within the ten minutes. [m/s]

    Between the mean of ten minutes and the gust of three seconds by the logarithm of the time: a
    choice of ours that meets both ends. NaN where that takes a gust and none is known.
    """
    if averaging == "unstated" or averaging >= _MEAN_S:
        return mean_m_s
    share = min(1.0, math.log(_MEAN_S / averaging) / math.log(_MEAN_S / _GUST_S))
    return mean_m_s + (np.maximum(gust_m_s, mean_m_s) - mean_m_s) * share
