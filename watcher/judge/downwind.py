"""Who lies downwind, and how far: the wind's direction with its spread against the ground."""

from dataclasses import dataclass

import numpy as np

from watcher.judge.plan import Plan
from watcher.weather.series import Floats, WeatherSeries

_LEAST_HALF_ANGLE_DEG = 30.0
_BEARINGS = 360


@dataclass(frozen=True)
class Sector:
    """The arc the spray may go to at each time, in whole bearings. [T]

    ``first`` and ``count`` are bearings; ``known`` is false where the direction is missing.
    """

    first: np.ndarray
    count: np.ndarray
    known: np.ndarray


def sector(plan: Plan, series: WeatherSeries) -> Sector:
    """Mean direction ± the larger of 30° and two standard deviations; all round when too wide."""
    judging = plan.farm.told.judging
    spread = plan.spread_deg(series)
    known = np.isfinite(series.wind_from_deg)
    toward = np.where(known, series.wind_from_deg, 0.0) + 180.0
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

    ``gap_m`` is [P, 360]. Range minimum by doubling windows, so that a season of hours costs no
    more than one look-up each.
    """
    windows = [gap_m.astype(np.float32)]
    while 2 ** len(windows) <= _BEARINGS:
        shift = 2 ** (len(windows) - 1)
        windows.append(np.minimum(windows[-1], np.roll(windows[-1], -shift, axis=1)))
    table = np.stack(windows)  # [level, P, 360]: least gap over 2**level bearings from each one on
    level = np.floor(np.log2(arc.count)).astype(np.int64)
    last = (arc.first + arc.count - 2**level) % _BEARINGS
    pairs = np.arange(gap_m.shape[0])[:, None]
    least: Floats = np.minimum(table[level, pairs, arc.first], table[level, pairs, last])
    return least
