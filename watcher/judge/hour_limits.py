"""Limits on the hour: rain before and after the job, and the sun's rise and set."""

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from watcher.judge.air_limits import within
from watcher.judge.limits import Checked
from watcher.judge.plan import Plan
from watcher.judge.status import Limit
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.sun import next_sunrise, next_sunset, previous_sunrise, previous_sunset


def hour_limits(plan: Plan, series: WeatherSeries) -> Iterator[Checked]:
    """Yield the checked limits on rain and daylight."""
    if Limit.RAIN_AFTER in plan.bounds:
        yield _rain_after(plan, series)
    if Limit.RAIN_BEFORE in plan.bounds:
        yield _rain_before(plan.kinds, series)
    yield from _sun_limits(plan.kinds, series)


def _sun_limits(plan: Plan, series: WeatherSeries) -> Iterator[Checked]:
    """Time since sunrise and to sunset; at night negative, the time to or since the daylight."""
    if not {Limit.AFTER_SUNRISE, Limit.BEFORE_SUNSET} & plan.bounds.keys():
        return
    times = series.times
    events = partial(_event, series)
    rose, set_ = events(previous_sunrise), events(previous_sunset)
    daylight = rose > set_
    if Limit.AFTER_SUNRISE in plan.bounds:
        since = np.where(daylight, times - rose, times - events(next_sunrise))
        yield within(Limit.AFTER_SUNRISE, since, plan.bounds[Limit.AFTER_SUNRISE])
    if Limit.BEFORE_SUNSET in plan.bounds:
        until = np.where(daylight, events(next_sunset) - times, set_ - times)
        yield within(Limit.BEFORE_SUNSET, until, plan.bounds[Limit.BEFORE_SUNSET])


def _event(series: WeatherSeries, event: Callable[..., Floats]) -> Floats:
    site = series.site
    return event(times=series.times, latitude=site.latitude, longitude=site.longitude)


def ends(series: WeatherSeries) -> Floats:
    """When each value stops standing: at the next time; the last one lasts like the one before."""
    times = series.times.astype(np.float64)
    last_step = times[-1] - times[-2] if times.size > 1 else 3600.0
    return np.append(times[1:], times[-1] + last_step)


def next_true(times: Floats, condition: np.ndarray) -> Floats:
    """First time at or after each time at which the condition is true; infinite where never.

    ``condition`` is [..., T]; the answer has its shape.
    """
    marked = np.where(condition, times, np.inf)
    return np.minimum.accumulate(marked[..., ::-1], axis=-1)[..., ::-1]


def _rain_after(plan: Plan, series: WeatherSeries) -> Checked:
    """Dry time counted from the end of the job, not its start."""
    bounds = plan.bounds[Limit.RAIN_AFTER]
    times = series.times.astype(np.float64)
    wet = series.rain_mm_h >= plan.farm.told.judging.rain_counts_from
    rain_at = next_true(times, wet)
    known_to = np.minimum(next_true(times, np.isnan(series.rain_mm_h)), ends(series)[-1])
    dry = np.minimum(rain_at, known_to) - times - plan.duration_s[:, :, None]
    # Dry for as long as is known is enough only when that already covers the need.
    dry[(rain_at >= known_to) & (dry < bounds.low[:, None, None])] = np.nan
    return within(Limit.RAIN_AFTER, dry, bounds)


def _rain_before(plan: Plan, series: WeatherSeries) -> Checked:
    bounds = plan.bounds[Limit.RAIN_BEFORE]
    times, until = series.times.astype(np.float64), ends(series)
    wet = series.rain_mm_h >= plan.farm.told.judging.rain_counts_from
    rained = np.maximum.accumulate(np.where(wet, until, -np.inf))
    unknown = np.maximum.accumulate(np.where(np.isnan(series.rain_mm_h), until, times[0]))
    dry = times - np.maximum(rained, unknown)
    dry = np.where(wet, 0.0, np.maximum(dry, 0.0))
    enough = dry >= bounds.low[:, None, None]
    return within(Limit.RAIN_BEFORE, np.where((rained >= unknown) | enough, dry, np.nan), bounds)
