"""Limits on the hour: rain before and after the job, and the sun's rise and set."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from watcher.limits.air import within
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.weather.leaf_wetness import leaf_wet
from watcher.weather.raining import raining
from watcher.weather.series import ALL_TIMES, Floats, WeatherSeries
from watcher.weather.sun import next_sunrise, next_sunset, previous_sunrise, previous_sunset


@dataclass(frozen=True)
class DrySpells:
    """How long it has been dry at each time, of rain or of leaves. [T] each"""

    wet: Bools
    wet_to: Floats
    """Until when it was wet last; in the past without end where it never was. [epoch s]"""
    unknown_to: Floats
    """Until when nobody knew last: the beginning of the series where it always is known."""


def dry_spells(
    plan: FarmArrays, series: WeatherSeries, *, expects: Mapping[str, Bools] | None = None
) -> dict[Limit, DrySpells]:
    """Return how long it has been dry, for the limits on that which any field has."""
    counts_from, found = plan.farm.config.judging.rain_counts_from, {}
    if Limit.RAIN_BEFORE in plan.bounds:
        rain = raining(series, from_mm_h=counts_from)
        found[Limit.RAIN_BEFORE] = _dry_spells(series, *rain)
    if Limit.LEAF_DRY in plan.bounds:
        measured = (expects or {}).get("leaf_wet_pct", False)
        leaf = leaf_wet(series, rain_from_mm_h=counts_from, measured=measured)
        found[Limit.LEAF_DRY] = _dry_spells(series, *leaf)
    return found


def hour_limits(
    plan: FarmArrays,
    series: WeatherSeries,
    *,
    expects: Mapping[str, Bools] | None = None,
    at: slice = ALL_TIMES,
) -> Iterator[Checked]:
    """Yield the checked limits on rain, wet leaves and daylight.

    ``expects`` says where a quantity should be there, because a station measures it; ``at`` for
    which of the times they are checked.
    """
    if Limit.RAIN_AFTER in plan.bounds:
        yield _rain_after(plan, series, at)
    for limit, spells in dry_spells(plan, series, expects=expects).items():
        yield _dry_before(limit, plan.kinds, series, spells, at)
    yield from _sun_limits(plan.kinds, series.part(at))


def _sun_limits(plan: FarmArrays, series: WeatherSeries) -> Iterator[Checked]:
    """Time since sunrise and to sunset; at night negative, the time to or since the daylight."""
    if not {Limit.AFTER_SUNRISE, Limit.BEFORE_SUNSET} & plan.bounds.keys():
        return
    times = series.times
    rose, set_ = _rose(series, previous_sunrise), _set(series, previous_sunset)
    daylight = rose > set_
    if Limit.AFTER_SUNRISE in plan.bounds:
        since = np.where(daylight, times - rose, times - _rose(series, next_sunrise))
        yield within(Limit.AFTER_SUNRISE, since, plan.bounds[Limit.AFTER_SUNRISE])
    if Limit.BEFORE_SUNSET in plan.bounds:
        until = np.where(daylight, _set(series, next_sunset) - times, set_ - times)
        yield within(Limit.BEFORE_SUNSET, until, plan.bounds[Limit.BEFORE_SUNSET])


def sun_closes(plan: FarmArrays, series: WeatherSeries) -> Floats:
    """When the windows' time before sunset runs out, to the minute; infinite without one. [F, T]

    At night that is at once.
    """
    closes = np.full((len(plan.fields), len(series)), np.inf)
    if Limit.BEFORE_SUNSET not in plan.bounds:
        return closes
    least = plan.bounds[Limit.BEFORE_SUNSET].low[:, None]
    times = series.times.astype(np.float64)
    set_at = _set(series, next_sunset)
    daylight = _rose(series, previous_sunrise) > _set(series, previous_sunset)
    until = np.where(daylight, np.floor((set_at - least) / 60.0) * 60.0, times)
    return np.where(np.isfinite(least), np.fmax(until, times), closes)


def _rose(series: WeatherSeries, event: Callable[..., Floats]) -> Floats:
    """A sunrise, rounded up to the minute: inward."""
    return np.ceil(_event(series, event) / 60.0) * 60.0


def _set(series: WeatherSeries, event: Callable[..., Floats]) -> Floats:
    """A sunset, rounded down to the minute: inward."""
    return np.floor(_event(series, event) / 60.0) * 60.0


def _event(series: WeatherSeries, event: Callable[..., Floats]) -> Floats:
    site = series.site
    return event(times=series.times, latitude=site.latitude, longitude=site.longitude)


def ends(series: WeatherSeries) -> Floats:
    """When each value stops standing: at the next time; the last one lasts like the one before."""
    times = series.times[: len(series) // series.runs].astype(np.float64)
    last_step = times[-1] - times[-2] if times.size > 1 else 3600.0
    return np.tile(np.append(times[1:], times[-1] + last_step), series.runs)


def next_true(series: WeatherSeries, condition: np.ndarray) -> Floats:
    """First time at or after each time at which the condition is true; infinite where never.

    ``condition`` is [..., T]; the answer has its shape. Runs know nothing of each other.
    """
    marked = _by_run(series, np.where(condition, series.times, np.inf))
    first = np.minimum.accumulate(marked[..., ::-1], axis=-1)[..., ::-1]
    return first.reshape(condition.shape)


def _by_run(series: WeatherSeries, values: Floats) -> Floats:
    """Return values [..., T] with an axis for the runs before that of the time."""
    return values.reshape(*values.shape[:-1], series.runs, -1)


def _rain_after(plan: FarmArrays, series: WeatherSeries, at: slice) -> Checked:
    """Dry time counted from the end of the job, not its start."""
    bounds = plan.bounds[Limit.RAIN_AFTER]
    times = series.times.astype(np.float64)
    wet, unknown = raining(series, from_mm_h=plan.farm.config.judging.rain_counts_from)
    rain_at = next_true(series, wet)
    known_to = np.minimum(next_true(series, unknown), ends(series)[-1])
    dry = (np.minimum(rain_at, known_to) - times)[at] - plan.duration_s[:, :, None]
    # Dry for as long as is known is enough only when that already covers the need.
    dry[(rain_at >= known_to)[at] & (dry < bounds.low[:, None, None])] = np.nan
    return within(Limit.RAIN_AFTER, dry, bounds)


def _dry_spells(series: WeatherSeries, wet: Bools, unknown: Bools) -> DrySpells:
    """Return the dry spells of where it was ``wet`` and where nobody knows. [T] both"""
    until = ends(series)
    return DrySpells(
        wet,
        _latest(series, np.where(wet, until, -np.inf)),
        _latest(series, np.where(unknown, until, float(series.times[0]))),
    )


def _dry_before(
    limit: Limit, plan: FarmArrays, series: WeatherSeries, spells: DrySpells, at: slice
) -> Checked:
    """Check how long it has been dry."""
    bounds, times = plan.bounds[limit], series.times[at].astype(np.float64)
    wet, wet_to, unknown_to = (a[at] for a in (spells.wet, spells.wet_to, spells.unknown_to))
    dry = times - np.maximum(wet_to, unknown_to)
    dry = np.where(wet, 0.0, np.maximum(dry, 0.0))
    # Since nobody knew it is at least so dry: enough only when that already covers the need.
    enough = dry >= bounds.low[:, None, None]
    return within(limit, np.where((wet_to >= unknown_to) | enough, dry, np.nan), bounds)


def _latest(series: WeatherSeries, moments: Floats) -> Floats:
    """Return the latest of the moments up to each time. [T]"""
    return np.maximum.accumulate(_by_run(series, moments), axis=-1).reshape(moments.shape)
