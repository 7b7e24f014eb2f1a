"""Bounds of the measured limits, of every field's window, as arrays."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from watcher.farm.models import Bounds, Judging, Origin, Window
from watcher.limits.catalogue import CATALOGUE, IN_WINDOWS, Limit, LimitEntry
from watcher.weather.series import Floats

_ALWAYS = {Limit.WIND, Limit.GUST}
"""Kept though no window bounds them: rules may."""


@dataclass(frozen=True)
class BoundArrays:
    """One limit's bounds for every field [F]: infinite where a field has none."""

    low: Floats
    high: Floats
    scale: Floats
    margin: Floats
    origin: tuple[Origin, ...]
    """Where the high bound comes from, or the only one."""
    low_origin: tuple[Origin, ...]
    derived: tuple[bool, ...]
    """Whether the high bound is not given but follows from that of another limit."""


def bounds_by_limit(windows: Iterable[Window], judging: Judging) -> dict[Limit, BoundArrays]:
    """Bounds of every measured limit that at least one of some fields' windows has."""
    windows = tuple(windows)
    by_field = [_bounds_of(window, judging) for window in windows]
    arrays = {
        limit: _bound_arrays(
            limit,
            [b[limit] for b in by_field],
            judging.margin,
            derived=tuple(limit is Limit.GUST and w.gust is None for w in windows),
        )
        for limit in by_field[0]
    }
    return {
        limit: a
        for limit, a in arrays.items()
        if limit in _ALWAYS or np.isfinite(a.low).any() or np.isfinite(a.high).any()
    }


def _scale(entry: LimitEntry, low: float, high: float) -> float:
    if entry.scale is not None:
        return entry.scale
    if entry.scale_between and np.isfinite(high - low):
        return high - low
    finite = high if np.isfinite(high) else low
    return abs(finite) if np.isfinite(finite) and finite else 1.0


def _bound_arrays(
    limit: Limit,
    bounds: list[Bounds[float] | None],
    default_margin: float,
    *,
    derived: tuple[bool, ...],
) -> BoundArrays:
    low = np.array([-np.inf if b is None or b.low is None else b.low for b in bounds])
    high = np.array([np.inf if b is None or b.high is None else b.high for b in bounds])
    margin = [default_margin if b is None or b.margin is None else b.margin for b in bounds]
    return BoundArrays(
        low=low,
        high=high,
        scale=np.array(
            [_scale(CATALOGUE[limit], lo, hi) for lo, hi in zip(low, high, strict=True)]
        ),
        margin=np.array(margin),
        origin=tuple(Origin.OWN if b is None else b.origin for b in bounds),
        low_origin=tuple(Origin.OWN if b is None else b.origin_of("low") for b in bounds),
        derived=derived,
    )


def _bounds_of(window: Window, judging: Judging) -> dict[Limit, Bounds[float] | None]:
    gust = window.gust
    if gust is None and window.wind.high is not None:
        # Whoever bounds the wind said nothing of gusts: what may come on top is nobody else's.
        gust = Bounds[float](
            high=window.wind.high + judging.gust_over_wind,
            origin=Origin.of_key(judging, "gust_over_wind"),
        )
    written = {entry.limit: getattr(window, key) for key, entry in IN_WINDOWS.items()}
    return written | {Limit.GUST: gust}
