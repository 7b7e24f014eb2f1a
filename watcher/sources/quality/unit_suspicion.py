"""Whether a source's values are in another unit than they are said to be.

As they are they contradict every witness (another station, another forecast, what the same feed
said last, or the climate of place and season); read in another unit they agree. Weather that a
witness did not see, or a station in a shelter, differs too, but not by the factor of a unit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations
from math import exp, log

import numpy as np

from watcher.sources.quality.climate import GALE_M_S, ClimateRange, day_mean_c
from watcher.units import Kind, convert
from watcher.weather.bins import HOUR_S
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import Floats, Seconds, WeatherSeries
from watcher.weather.wind_profile import Surface, wind_at_height

LEAST_HOURS = 8
"""Fewer hours in common tell nothing (no source)."""
LEAST_DAY_H = 18
"""So many hours make a day's mean (no source)."""
_DAY_S = 24 * HOUR_S

APART_K, AGREE_K = 14.0, 7.0
"""Median difference of temperatures that contradict, and that agree (no source). In 2013 three
airports of one city were never 8 K apart over a day."""
DAY_TO_DAY_K = 18.0
"""The same hour a day later contradicts from here on (no source)."""
APART_TIMES = 2.7
"""How many times another's wind contradicts at any rate (no source): a station in a shelter has
half of the open wind, and a coarse forecast of June 2021 at Hill City had 0.4 to 2.4 times."""
SAME_FEED_TIMES = 1.7
"""The same of what one feed said an issue earlier (no source): 0.6 to 1.3 times there."""
CLOSE, STEADY = 0.06, 0.10
"""A ratio this near to a unit's, in logarithms, that scatters by no more than this from hour to
hour, is the unit's (no source): few real pairs of winds do both."""
AGREE_TIMES = 1.7
_LEAST_WIND_M_S = 1.5

_SPEEDS = ("m/s", "km/h", "mph", "kn")
_TEMPERATURES = ("degC", "degF", "K")
PLAIN = {quantity.column: quantity.name.replace("_", " ") for quantity in BY_NAME.values()}
"""Each array's quantity as it is called where it comes in."""
_NAMES = {"degC": "°C", "degF": "°F"}


@dataclass(frozen=True)
class Suspicion:
    """A quantity seems to be in ``unit``, which was taken for ``taken_for``.

    ``unit`` is empty where the values can't be and no unit explains them. ``against`` names who
    contradicts.
    """

    quantity: str
    unit: str
    taken_for: str
    against: tuple[str, ...]

    def __str__(self) -> str:
        who, what = " and ".join(self.against), PLAIN[self.quantity]
        if not self.unit:
            return f"the {what} is beyond {who}"
        return f"the {what} looks like {self.unit} taken for {self.taken_for}, against {who}"


def unit_suspected(
    series: WeatherSeries,
    witnesses: Sequence[WeatherSeries],
    *,
    earlier: WeatherSeries | None = None,
) -> tuple[Suspicion, ...]:
    """Return what of a series seems to be in another unit; empty where nothing does.

    ``series`` are readings of a day, or a forecast. ``witnesses`` are usable series of other
    sources; what they say of the same hours is compared, of the day before where that is all they
    know of a temperature. ``earlier`` is what the same feed said before, where it is a feed.
    """
    hourly, others = _hours(series), [_hours(witness) for witness in witnesses]
    before = None if earlier is None else _hours(earlier)
    found = [
        _temperature(hourly, others, before),
        _speed(hourly, others, before, "wind_m_s"),
        _speed(hourly, others, before, "gust_m_s"),
        *(_share(series, name) for name in ("humidity_pct", "cloud_pct", "rain_chance_pct")),
    ]
    return tuple(one for one in found if one is not None)


@dataclass(frozen=True)
class _Hours:
    """Means of whole hours of one source."""

    series: WeatherSeries
    times: Seconds
    values: dict[str, Floats]


def _hours(series: WeatherSeries) -> _Hours:
    hour = series.times // HOUR_S * HOUR_S
    times, index = np.unique(hour, return_inverse=True)
    values = {}
    for name in ("wind_m_s", "gust_m_s", "temp_c"):
        given = getattr(series, name)
        known = np.isfinite(given)
        count = np.bincount(index, known, times.size)
        total = np.bincount(index, np.where(known, given, 0.0), times.size)
        values[name] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return _Hours(series, times, values)


def _pairs(ours: _Hours, theirs: _Hours, name: str, later_s: int = 0) -> tuple[Floats, Floats]:
    """Return both sources' values of the hours in which both know one."""
    _, at, of = np.intersect1d(ours.times, theirs.times + later_s, return_indices=True)
    mine, other = ours.values[name][at], theirs.values[name][of]
    known = np.isfinite(mine) & np.isfinite(other)
    return mine[known], other[known]


def _converted(value: Floats, unit: str, taken_for: str, kind: Kind) -> Floats:
    """Return what values mean if they came in ``unit`` and were taken for ``taken_for``."""
    inside_zero, inside_one = convert(0.0, taken_for, kind), convert(1.0, taken_for, kind)
    share = (value - inside_zero) / (inside_one - inside_zero)
    zero, one = convert(0.0, unit, kind), convert(1.0, unit, kind)
    return zero + share * (one - zero)


def _temperature(ours: _Hours, others: Sequence[_Hours], before: _Hours | None) -> Suspicion | None:
    mine = ours.values["temp_c"]
    known = np.isfinite(mine)
    if known.sum() >= LEAST_DAY_H:
        mean = float(np.median(mine[known][: 3 * 24]))  # whatever a few hours say
        climate = day_mean_c(ours.series.site, int(ours.times[known][0]))
        if not climate.holds(mean):
            return _outside(mean, climate)
    compared = []
    for other in [*others, *([] if before is None else [before])]:
        pair, most = _pairs(ours, other, "temp_c"), APART_K
        if pair[0].size < LEAST_HOURS and other is not before:
            pair, most = _pairs(ours, other, "temp_c", _DAY_S), DAY_TO_DAY_K
        if pair[0].size >= LEAST_HOURS and _sound(other):
            compared.append((other, *pair, most))
    if not compared or not all(
        np.median(np.abs(values - theirs)) > most for _, values, theirs, most in compared
    ):
        return None
    for unit, taken_for in permutations(_TEMPERATURES, 2):
        apart = [
            np.median(np.abs(_converted(values, unit, taken_for, Kind.TEMPERATURE) - theirs))
            for _, values, theirs, _ in compared
        ]
        if max(apart) <= AGREE_K:
            return _suspicion("temp_c", unit, taken_for, [other for other, *_ in compared])
    return None


def _outside(mean: float, climate: ClimateRange) -> Suspicion:
    for unit, taken_for in permutations(_TEMPERATURES, 2):
        converted = _converted(np.array(mean), unit, taken_for, Kind.TEMPERATURE)
        if climate.holds(float(converted)):
            return _suspicion("temp_c", unit, taken_for, [])
    return _suspicion("temp_c", "", "", [])


def _sound(other: _Hours) -> bool:
    """Whether a witness is itself within what the climate allows."""
    values = other.values["temp_c"]
    values = values[np.isfinite(values)]
    climate = day_mean_c(other.series.site, int(other.times[0]))
    return values.size < LEAST_DAY_H or climate.holds(float(np.median(values)))


def _speed(
    ours: _Hours, others: Sequence[_Hours], before: _Hours | None, name: str
) -> Suspicion | None:
    if before is not None:
        ratio, _ = _ratio(ours, before, name)
        if abs(ratio) > log(SAME_FEED_TIMES) and (units := _nearest(ratio)) is not None:
            return _suspicion(name, *units, [before])
    if name == "gust_m_s":  # what a gust is differs from source to source
        return None
    compared = [
        (other, *_ratio(ours, other, name)) for other in others if _enough(ours, other, name)
    ]
    if compared:
        units_of = [_contradicted(ratio, scatter) for _, ratio, scatter in compared]
        if None not in units_of and units_of[0] is not None:
            return _suspicion(name, *units_of[0], [other for other, *_ in compared])
    winds = ours.values[name]
    winds = winds[np.isfinite(winds)][: 3 * 24]
    if winds.size >= LEAST_DAY_H and np.median(winds) > GALE_M_S:
        return _suspicion(name, "", "", [])
    return None


def _enough(ours: _Hours, other: _Hours, name: str) -> bool:
    return _blowing(ours, other, name)[0].size >= LEAST_HOURS


def _blowing(ours: _Hours, other: _Hours, name: str) -> tuple[Floats, Floats]:
    """Return both winds of the hours in which it blew, as they are at our height."""
    mine, theirs = _pairs(ours, other, name)
    theirs = wind_at_height(
        wind_m_s=theirs,
        from_m=other.series.site.wind_height_m,
        to_m=ours.series.site.wind_height_m,
        of=Surface.of_canopy(other.series.site.canopy_m),
        over=Surface.of_canopy(ours.series.site.canopy_m),
    )
    blew = (np.minimum(mine, theirs) > 0) & (np.maximum(mine, theirs) >= _LEAST_WIND_M_S)
    return mine[blew], theirs[blew]


def _ratio(ours: _Hours, other: _Hours, name: str) -> tuple[float, float]:
    """Return the usual ratio of our winds to theirs, and its scatter, both in logarithms; of too
    few hours none."""
    mine, theirs = _blowing(ours, other, name)
    if mine.size < LEAST_HOURS:
        return 0.0, np.inf
    ratios = np.log(mine / theirs)
    middle = float(np.median(ratios))
    return middle, float(np.median(np.abs(ratios - middle)))


def _contradicted(ratio: float, scatter: float) -> tuple[str, str] | None:
    units = _nearest(ratio)
    if units is None:
        return None
    exact = abs(ratio - _factor(*units)) <= CLOSE and scatter <= STEADY
    return units if exact or abs(ratio) > log(APART_TIMES) else None


def _factor(unit: str, taken_for: str) -> float:
    """Return how many times too high, in logarithms, values of ``unit`` are taken for another."""
    return log(convert(1.0, taken_for, Kind.SPEED) / convert(1.0, unit, Kind.SPEED))


def _nearest(ratio: float) -> tuple[str, str] | None:
    """Return the two units whose ratio is nearest; None where it is none's, or nearer to one."""
    units = min(permutations(_SPEEDS, 2), key=lambda pair: abs(ratio - _factor(*pair)))
    if abs(_factor(*units)) < log(SAME_FEED_TIMES / 1.1):  # a mile an hour and a knot are alike
        return None
    return units if exp(abs(ratio - _factor(*units))) <= AGREE_TIMES else None


def _share(series: WeatherSeries, name: str) -> Suspicion | None:
    """Suspect percentages none of which is over 1 and that are not all 0 or 1."""
    values = getattr(series, name)
    values = values[np.isfinite(values)]
    if values.size < LEAST_HOURS or values.max() > 1.0:
        return None
    if not ((values > 0) & (values < 1)).any() and (values == 1).mean() < 0.5:
        return None
    return Suspicion(name, "a fraction of 1", "%", ("itself",))


def _suspicion(quantity: str, unit: str, taken_for: str, against: Sequence[_Hours]) -> Suspicion:
    who = tuple(dict.fromkeys(other.series.source for other in against))
    return Suspicion(
        quantity,
        _NAMES.get(unit, unit),
        _NAMES.get(taken_for, taken_for),
        who or ("what place and season allow",),
    )
