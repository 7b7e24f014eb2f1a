"""Bounds of the measured limits, of every field's window, as arrays."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from watcher.farm.models import Bounds, Judging, Origin, Window
from watcher.judge.status import Limit
from watcher.weather.series import Floats

# Working scales of judgement's headroom that do not come from the bounds themselves.
_TEMPERATURE_SCALE_K = 10.0
_SUN_SCALE_S = 3600.0


@dataclass(frozen=True)
class BoundArrays:
    """One limit's bounds for every field [F]: infinite where a field has none."""

    low: Floats
    high: Floats
    scale: Floats
    margin: Floats
    origin: tuple[Origin, ...]


def bounds_by_limit(windows: Iterable[Window], judging: Judging) -> dict[Limit, BoundArrays]:
    """Bounds of every measured limit that at least one of some fields' windows has."""
    by_field = [_bounds_of(window, judging.gust_over_wind) for window in windows]
    arrays = {
        limit: _bound_arrays(limit, [b[limit] for b in by_field], judging.margin)
        for limit in by_field[0]
    }
    return {
        limit: a
        for limit, a in arrays.items()
        if np.isfinite(a.low).any() or np.isfinite(a.high).any()
    }


def _scale(limit: Limit, low: float, high: float) -> float:
    if limit is Limit.TEMPERATURE:
        return _TEMPERATURE_SCALE_K
    if limit in {Limit.AFTER_SUNRISE, Limit.BEFORE_SUNSET}:
        return _SUN_SCALE_S
    if limit in {Limit.DELTA_T, Limit.HUMIDITY} and np.isfinite(high - low):
        return high - low
    finite = high if np.isfinite(high) else low
    return abs(finite) if np.isfinite(finite) and finite else 1.0


def _bound_arrays(
    limit: Limit, told: list[Bounds[float] | None], default_margin: float
) -> BoundArrays:
    low = np.array([-np.inf if b is None or b.low is None else b.low for b in told])
    high = np.array([np.inf if b is None or b.high is None else b.high for b in told])
    margin = [default_margin if b is None or b.margin is None else b.margin for b in told]
    return BoundArrays(
        low=low,
        high=high,
        scale=np.array([_scale(limit, lo, hi) for lo, hi in zip(low, high, strict=True)]),
        margin=np.array(margin),
        origin=tuple(Origin.OWN if b is None else b.origin for b in told),
    )


def _bounds_of(window: Window, gust_over_wind: float) -> dict[Limit, Bounds[float] | None]:
    gust = window.gust
    if gust is None and window.wind.high is not None:
        gust = Bounds[float](high=window.wind.high + gust_over_wind, origin=window.wind.origin)
    return {
        Limit.WIND: window.wind,
        Limit.GUST: gust,
        Limit.TEMPERATURE: window.temperature,
        Limit.DELTA_T: window.delta_t,
        Limit.HUMIDITY: window.humidity,
        Limit.RAIN_BEFORE: window.rain_free_before,
        Limit.RAIN_AFTER: window.rain_free_after,
        Limit.AFTER_SUNRISE: window.after_sunrise,
        Limit.BEFORE_SUNSET: window.before_sunset,
    }
