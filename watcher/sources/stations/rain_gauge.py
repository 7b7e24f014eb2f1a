"""Rain reported as an amount, or as a count that only grows, made into rates.

What fell between two readings fell at its mean rate, which stands at the later one: when within
that time it rained nobody knows.
"""

from dataclasses import dataclass

import numpy as np

from watcher.sources.base import Observations, RainFall
from watcher.weather.series import Floats

LONGEST_S = 24 * 3600
"""What fell over a longer time tells nothing of a rate (no source)."""
_HOUR_S = 3600.0
_TENTH_OF_TIP_MM = 0.01
"""A count that is lower by less is the same one, rounded another way (no source)."""


@dataclass(frozen=True)
class Gauge:
    """How a gauge stood at its newest reading: epoch seconds, and the count if it tells one."""

    time: int
    mm: float


def rated(observations: Observations, stood: Gauge | None) -> tuple[Observations, Gauge | None]:
    """Return observations with rates of rain in place of amounts, and how the gauge then stands.

    ``stood`` is how it stood before these came in. A reading without one before it has no rate;
    one that came in before has none either, so that what is known of it stands.
    """
    fall = observations.rain_fall
    if fall is None or not fall.times.size:
        return observations, None
    known = stood if stood is not None and stood.time < fall.times[0] else None
    rates = _rates(fall, known)
    series = observations.series
    values = series.rain_mm_h.copy()
    values[np.searchsorted(series.times, fall.times)] = rates
    newest = Gauge(int(fall.times[-1]), float(fall.mm[-1]))
    if stood is not None and stood.time >= newest.time:
        newest = stood
    return Observations(
        series.having(rain_mm_h=values), observations.flags, ignored=observations.ignored
    ), newest


def _rates(fall: RainFall, known: Gauge | None) -> Floats:
    since = np.full(fall.times.size, np.nan)
    since[1:] = np.diff(fall.times)
    fell = fall.mm.copy()
    if fall.is_total:
        fell[1:] = np.diff(fall.mm)
    if known is not None:
        since[0] = fall.times[0] - known.time
        fell[0] = fall.mm[0] - known.mm if fall.is_total else fall.mm[0]
    if fall.is_total:
        # A count that falls began anew: what it then shows has fallen since, at least.
        fell = np.where(fell < -_TENTH_OF_TIP_MM, fall.mm, np.maximum(fell, 0.0))
    since[since > LONGEST_S] = np.nan
    rates: Floats = fell / since * _HOUR_S
    return rates
