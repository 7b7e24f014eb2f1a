"""What of a forecast is believed, and whether it may take the place of the one before it.

Every forecast of every feed goes through here before it is kept, and is held to the same limits as
readings. What cannot be is missing in it, never made to fit; an issue of which too little is left
is refused, so that a good one before it stands until it is too old.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from watcher.sources.base import Flag, Flags, Forecast, Observations, SourceError
from watcher.sources.quality.check import impossible
from watcher.sources.quality.unit_suspicion import PLAIN, Suspicion, unit_suspected
from watcher.weather.bins import HOUR_S
from watcher.weather.series import WeatherSeries

NEEDED = ("wind_m_s", "temp_c")
"""Without these no hour can be judged."""
SOON_H, AHEAD_H = 6, 24
"""An issue must know of the coming six hours, and is compared with the one before over a day."""
LEAST_OF_BEFORE = 0.5
"""Share of the hours that the issue before knows which a new one must know too (no source)."""
MOST_GUSTS_UNDER = 0.25
"""Some models give a few gusts under the mean wind; in more of the hours than this it may as well
be the wind that is wrong (no source)."""

_WORDS = {
    Flag.RANGE: "cannot be",
    Flag.INCONSISTENT: "contradict others of the same hour",
}

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Passed:
    """A forecast as far as it is believed, and in words what of it is not."""

    forecast: Forecast
    doubts: tuple[str, ...] = ()


def passed(
    forecast: Forecast,
    *,
    now: int,
    last: Forecast | None = None,
    stands: bool = False,
    past: WeatherSeries | None = None,
    witnesses: Sequence[WeatherSeries] = (),
) -> Passed:
    """Return what is believed of a forecast. Raises ``SourceError`` where it must not be kept.

    ``last`` is the source's last issue, if it has any of the last day, and ``stands`` whether it is
    fresh enough to be used. ``past`` is what the source foretold of the last day. ``witnesses`` are
    usable series of the last day: readings of the farm's stations, other forecasts.
    """
    series = forecast.series
    flags = _impossible(series)
    before = last if stands else None
    suspicions = _suspicions(series, last, before, past, witnesses)
    flags = _with_suspicions(flags, suspicions, len(series))
    doubts = (*_in_words(series, flags), *map(str, suspicions))
    believed = _missing(series, flags)
    _check_worth(believed, before, now, doubts)
    return Passed(replace(forecast, series=believed), doubts)


def possible(series: WeatherSeries) -> WeatherSeries:
    """Return a forecast without what cannot be: of old ones nothing more is asked."""
    return _missing(series, _impossible(series))


def _impossible(series: WeatherSeries) -> Flags:
    """Return the flags of what cannot be; of a few gusts under the mean the wind is not doubted."""
    flags = dict(impossible(series))
    under = series.gust_m_s < series.wind_m_s
    both = np.isfinite(series.gust_m_s) & np.isfinite(series.wind_m_s)
    wind = flags.get("wind_m_s")
    if wind is not None and under.sum() <= MOST_GUSTS_UNDER * both.sum():
        flags["wind_m_s"] = wind & ~np.uint16(Flag.INCONSISTENT)
    return flags


def _suspicions(
    series: WeatherSeries,
    last: Forecast | None,
    before: Forecast | None,
    past: WeatherSeries | None,
    witnesses: Sequence[WeatherSeries],
) -> Sequence[Suspicion]:
    """Return what seems to be in another unit.

    Few feeds repeat the past, so that what they foretold of it stands in; but not once the feed has
    changed its unit since, or it would never be believed again.
    """
    changed = last is not None and unit_suspected(series, (), earlier=last.series)
    if changed and before is not None:
        return changed
    if past is not None and len(past) and len(series) and not changed:
        earlier = past.at(past.times < series.times[0])
        series = Observations(series).after(Observations(earlier)).series
    return unit_suspected(series, witnesses)


def _with_suspicions(flags: Flags, suspicions: Sequence[Suspicion], count: int) -> Flags:
    every = dict(flags)
    for suspicion in suspicions:
        bits = every.get(suspicion.quantity, np.zeros(count, dtype=np.uint16))
        every[suspicion.quantity] = bits | np.uint16(Flag.UNIT_SUSPECTED)
    return every


def _missing(series: WeatherSeries, flags: Flags) -> WeatherSeries:
    """Return the series without what is flagged."""
    return series.having(
        **{name: np.where(bits == 0, getattr(series, name), np.nan) for name, bits in flags.items()}
    )


def _in_words(series: WeatherSeries, flags: Flags) -> list[str]:
    found = []
    for flag, word in _WORDS.items():
        hours = {
            name: int(((bits & flag) != 0)[np.isfinite(getattr(series, name))].sum())
            for name, bits in flags.items()
        }
        named = [f"{PLAIN[name]} in {count} hours" for name, count in hours.items() if count]
        if named:
            found.append(f"not believed, as the values {word}: {', '.join(named)}")
    return found


def _check_worth(
    series: WeatherSeries, before: Forecast | None, now: int, doubts: Sequence[str]
) -> None:
    """Raise ``SourceError`` where the issue covers no now, or knows too little."""
    why = f" ({'; '.join(doubts)})" if doubts else ""
    what = f"{series.source} sent a forecast"
    rest = "it is not used; the one before it stands until it is too old"
    if not len(series) or series.times[0] > now or series.times[-1] + HOUR_S <= now:
        raise SourceError(f"{what} whose hours do not cover now; {rest}")
    hour = now // HOUR_S * HOUR_S
    if not _known(series, hour, SOON_H).any():
        raise SourceError(
            f"{what} without a wind and a temperature for the coming {SOON_H} hours{why}; {rest}"
        )
    if before is None:
        return
    knows, knew = _known(series, hour, AHEAD_H).sum(), _known(before.series, hour, AHEAD_H).sum()
    if knows < LEAST_OF_BEFORE * knew:
        raise SourceError(
            f"{what} that knows the wind and temperature of {knows} of the coming {AHEAD_H} hours, "
            f"the one before it of {knew}{why}; {rest}"
        )


def _known(series: WeatherSeries, start: int, hours: int) -> Bools:
    """Return of which of so many hours from ``start`` all that is needed is known. [hours]"""
    known = np.logical_and.reduce([np.isfinite(getattr(series, name)) for name in NEEDED])
    within = (series.times[known] - start) // HOUR_S
    found = np.zeros(hours, dtype=np.bool_)
    found[within[(within >= 0) & (within < hours)]] = True
    return found
