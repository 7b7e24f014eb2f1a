"""What came of warnings of the wind: hits, false ones and time under them, all together.

``M`` is the mean of the known winds of the last ten minutes. A *spraying minute* has the sun above
5 degrees, M of at least 1.3 m/s, and no M over the bound in its last ten minutes. A *crossing* is
the first minute over the bound after a spraying minute; a *quiet first* one after an hour without
any. A warning stands until ten minutes after it was last told. It is *false* if it begins in a
spraying minute and ends without M over the bound. A *hit* is a crossing with a warning that has
stood for three minutes. *Under* is the share of the spraying time with a warning standing.
"""

from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Floats, Seconds, WeatherSeries
from watcher.weather.straying import LEAST_WIND_M_S
from watcher.weather.sun import elevation
from watcher.weather.trailing import means, plausible_wind

Bools = NDArray[np.bool_]

STANDS_S, HOUR_S = 600, 3600
_LEAD_S = 180


@dataclass
class Score:
    """Sums over days; ``leads`` are those of quiet firsts, in minutes, 0 for none."""

    hours: float = 0.0
    crossings: int = 0
    hits: int = 0
    quiet: int = 0
    quiet_hits: int = 0
    false: int = 0
    under_hours: float = 0.0
    leads: list[float] = field(default_factory=list)

    def __add__(self, other: "Score") -> "Score":
        return Score(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))

    @property
    def of_all(self) -> float:
        return self.hits / max(self.crossings, 1)

    @property
    def of_quiet(self) -> float:
        return self.quiet_hits / max(self.quiet, 1)

    @property
    def false_in_ten_hours(self) -> float:
        return 10.0 * self.false / self.hours

    @property
    def under(self) -> float:
        return self.under_hours / self.hours

    def row(self, name: str) -> str:
        lead = ", ".join(f"{q:.0f}" for q in np.percentile(self.leads or [0.0], [25, 50, 75]))
        return (
            f"| {name} | {self.hours:.0f} | {self.crossings} ({self.quiet}) | {self.of_all:.2f} "
            f"| {self.of_quiet:.2f} | {self.false_in_ten_hours:.2f} | {self.under:.1%} | {lead} |"
        )


HEAD = (
    "| what | spraying hours | crossings (quiet firsts) | hits of all | of quiet firsts "
    "| false in 10 h | time under | lead on quiet firsts, min (quartiles) |\n" + "|---" * 8 + "|"
)


@dataclass(frozen=True)
class Minutes:
    """A place's minutes against one bound. All arrays [T]."""

    times: Seconds
    over: Bools
    spraying: Bools

    @classmethod
    def of(cls, series: WeatherSeries, bound_m_s: float) -> "Minutes":
        times, site = series.times, series.site
        wind = plausible_wind(series.wind_m_s)
        mean = means(times=times, values=wind, width_s=STANDS_S)[:, 0]
        over = mean > bound_m_s
        sun = elevation(times=times, latitude=site.latitude, longitude=site.longitude)
        quiet = ~_any_within(times, over, times - STANDS_S, times)
        return cls(times, over, quiet & (sun > 5.0) & (mean >= LEAST_WIND_M_S))

    @property
    def crossings(self) -> NDArray[np.intp]:
        soon_after = np.diff(self.times) <= STANDS_S
        return np.flatnonzero(self.over[1:] & self.spraying[:-1] & soon_after) + 1

    def comes(self) -> Bools:
        """Return where M is over the bound within the next ten minutes."""
        return _any_within(self.times, self.over, self.times, self.times + STANDS_S)

    def seen_ahead(self) -> Bools:
        """Return where the next ten minutes are known."""
        newest = np.searchsorted(self.times, self.times + STANDS_S, side="right") - 1
        return self.times[newest] - self.times >= STANDS_S - 60

    def score(self, given: Seconds) -> Score:
        """Score warnings told at these times."""
        begin, end = _alerts(given)
        of = Score(hours=self.spraying.sum() / 60.0)
        for index in self.crossings.tolist():
            at = int(self.times[index])
            standing = begin[(begin <= at) & (at <= end)]
            lead = (at - int(standing[0])) if standing.size else 0
            first = np.searchsorted(self.times, at - HOUR_S)
            quiet = not self.over[first:index].any()
            of.crossings += 1
            of.hits += lead >= _LEAD_S
            of.quiet += quiet
            of.quiet_hits += quiet and lead >= _LEAD_S
            of.leads += [lead / 60.0] if quiet else []
        in_spraying = self.spraying[np.minimum(np.searchsorted(self.times, begin), len(self) - 1)]
        true = _any_within(self.times, self.over, begin - 1, end)
        of.false = int((in_spraying & ~true).sum())
        under = np.searchsorted(begin, self.times, side="right") > np.searchsorted(
            end, self.times, side="left"
        )
        of.under_hours = (under & self.spraying).sum() / 60.0
        return of

    def __len__(self) -> int:
        return int(self.times.size)


def _alerts(given: Seconds) -> tuple[Seconds, Seconds]:
    """Return when the warnings begin and end."""
    if not given.size:
        return given, given
    breaks = np.flatnonzero(np.diff(given) > STANDS_S)
    first = np.insert(breaks + 1, 0, 0)
    return given[first], given[np.append(breaks, given.size - 1)] + STANDS_S


def _any_within(times: Seconds, flags: Bools, after: Seconds, until: Seconds) -> Bools:
    """Return whether any flag is set after one time and up to another."""
    total = np.insert(np.cumsum(flags), 0, 0)
    first, last = (np.searchsorted(times, at, side="right") for at in (after, until))
    return total[last] > total[first]


def averaged(series: WeatherSeries, step_s: int) -> WeatherSeries:
    """Return the winds of a station that reports means of ``step_s`` instead of minutes."""
    times = np.unique(-(-series.times // step_s) * step_s)
    total, known = (
        np.insert(np.cumsum(values), 0, 0.0)
        for values in (np.nan_to_num(series.wind_m_s), np.isfinite(series.wind_m_s))
    )
    first, last = (np.searchsorted(series.times, t, side="right") for t in (times - step_s, times))
    count = known[last] - known[first]
    enough = count >= 0.5 * step_s / 60
    wind: Floats = np.where(enough, (total[last] - total[first]) / np.maximum(count, 1), np.nan)
    return WeatherSeries(times, series.site, series.source, wind_m_s=wind)
