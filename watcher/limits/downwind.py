"""Who lies downwind, and how far: the wind's direction with its spread against the ground."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.series import Floats, WeatherSeries

_LEAST_HALF_ANGLE_DEG = 30.0
_BEARINGS = 360
_PAIRS_AT_A_TIME = 512
"""So that the windows of a large farm's pairs stay within a processor's cache."""


@dataclass(frozen=True)
class Sector:
    """The arc the spray may go to at each time, in whole bearings. [T]

    ``first`` and ``count`` are bearings; ``known`` is false where the direction is missing.
    """

    first: np.ndarray
    count: np.ndarray
    known: np.ndarray


def sector(plan: FarmArrays, series: WeatherSeries) -> Sector:
    """Mean direction ± the larger of 30° and two standard deviations; all round when too wide."""
    judging = plan.farm.config.judging
    spread = plan.spread_deg(series)
    known = np.isfinite(series.wind_from_deg)
    toward = np.nan_to_num(series.wind_from_deg) + 180.0
    half = np.maximum(_LEAST_HALF_ANGLE_DEG, 2.0 * spread)
    first = np.floor(toward - half)
    count = np.ceil(toward + half) - first + 1
    count = np.where(spread > judging.no_direction_above, _BEARINGS, count)
    return Sector(
        first=first.astype(np.int64) % _BEARINGS,
        count=np.minimum(count, _BEARINGS).astype(np.int64),
        known=known | (spread > judging.no_direction_above),
    )


def gap_downwind(gap_m: Floats, arc: Sector) -> Floats:
    """Least distance to each pair's neighbour within the arc of each time. [P, T], m

    ``gap_m`` is [P, 360].
    """
    blocks = range(0, gap_m.shape[0], _PAIRS_AT_A_TIME)
    least = np.full((gap_m.shape[0], arc.first.size), np.nan)
    for block in (slice(start, start + _PAIRS_AT_A_TIME) for start in blocks):
        least[block] = _least_in_arc(gap_m[block].astype(np.float32), arc)
    return least


def _least_in_arc(gap_m: NDArray[np.float32], arc: Sector) -> NDArray[np.float32]:
    """Range minimum by doubling windows: a season of hours costs no more than two look-ups each."""
    level = np.floor(np.log2(arc.count)).astype(np.int64)
    last = (arc.first + arc.count - 2**level) % _BEARINGS
    windows = [gap_m]  # one a level: least gap over 2**level bearings from each one on
    for shift in 2 ** np.arange(level.max()):
        windows.append(np.minimum(windows[-1], np.roll(windows[-1], -shift, axis=1)))
    table = np.stack(windows)
    pairs = np.arange(gap_m.shape[0])[:, None]
    least: NDArray[np.float32] = np.minimum(
        table[level, pairs, arc.first], table[level, pairs, last]
    )
    return least


def per_field(
    plan: FarmArrays, worse: np.ufunc, pairs: np.ndarray, nobody: float | bool
) -> np.ndarray:
    """Reduce pairs [P, ...] to fields [F, ...]; ``nobody`` for a field without any pair.

    ``worse`` is the reduction, such as ``np.maximum``.
    """
    owner = plan.reach.pair_field
    out = np.full((len(plan.fields), *pairs.shape[1:]), nobody, dtype=pairs.dtype)
    if owner.size:
        first = np.flatnonzero(np.diff(owner, prepend=-1))  # pairs are in the order of fields
        out[owner[first]] = worse.reduceat(pairs, first, axis=0)
    return out
