"""Quality control against witnesses: another station nearby, and what a feed says of the hour.

As in a buddy check a value is held against those of its neighbours; one that contradicts all of
them is taken to be wrong (MADIS level 3, spatial consistency, goes on to the other neighbours in
the same way before it decides). Two sources that contradict each other don't tell which of them
is wrong, so against a single witness twice as much is needed.

A wind above its witnesses' is never doubted: it may be the squall that no feed saw, and it closes
fields. One far below them is a cup that has iced up or a blocked pipe, and would open them.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from watcher.sources.base import Flag, Observations
from watcher.units import Kind
from watcher.weather.quantities import CATALOGUE
from watcher.weather.quantity import Agreement, Height, Quantity
from watcher.weather.series import Floats, Seconds, Site, WeatherSeries
from watcher.weather.trailing import means
from watcher.weather.wind_profile import Surface, wind_at_height

STANDS_S = 3600
"""How long what a witness said stands, as in the timeline."""
MEAN_S = 600
ALONE = 2.0
"""How much further apart from a single witness (no source)."""


def check_against(observations: Observations, witnesses: Sequence[WeatherSeries]) -> Observations:
    """Return the observations with ``Flag.DISAGREES`` added where every witness contradicts.

    ``witnesses`` are usable series of other sources, forecasts too. A value that has a finding
    already is left alone, and one without a witness of the last hour too.
    """
    if not witnesses:
        return observations
    flags = dict(observations.flags)
    for quantity in CATALOGUE:
        if quantity.agreement is None:
            continue
        name = quantity.column
        doubted = _doubted(observations, witnesses, quantity, quantity.agreement)
        if doubted.any():
            before = flags.get(name, np.zeros(doubted.size, dtype=np.uint16))
            flags[name] = np.where(doubted, before | np.uint16(Flag.DISAGREES), before)
    return Observations(observations.series, flags)


def _doubted(
    observations: Observations,
    witnesses: Sequence[WeatherSeries],
    quantity: Quantity,
    limit: Agreement,
) -> NDArray[np.bool_]:
    """Return where a value contradicts every witness there is. [T]"""
    series = observations.usable()
    apart = np.array(
        [
            getattr(series, quantity.column) - _said(w, quantity, series.times, series.site)
            for w in witnesses
        ]
    ).reshape(len(witnesses), len(series))
    there = np.isfinite(apart)
    scale = np.where(there.sum(axis=0) > 1, 1.0, ALONE)
    far = (apart > limit.over * scale) | (apart < -limit.under * scale)
    contradicted: NDArray[np.bool_] = there.any(axis=0) & (far | ~there).all(axis=0)
    return contradicted


def _said(witness: WeatherSeries, quantity: Quantity, times: Seconds, site: Site) -> Floats:
    """Return what a witness last said of a quantity, over ten minutes, as it is at ``site``. [T]"""
    values = getattr(witness, quantity.column)
    known = np.isfinite(values)
    if not known.any():
        return np.full(times.shape, np.nan)
    at, values = witness.times[known], values[known]
    mean = means(times=at, values=values, width_s=MEAN_S)[:, 0]
    last = np.searchsorted(at, times, side="right") - 1
    stands = (last >= 0) & (times - at[last] < STANDS_S)
    said = np.where(stands, mean[last], np.nan)
    if quantity.height is Height.WIND and quantity.kind is Kind.SPEED:
        said = wind_at_height(
            wind_m_s=said,
            from_m=witness.site.wind_height_m,
            to_m=site.wind_height_m,
            of=Surface.of_canopy(witness.site.canopy_m),
            over=Surface.of_canopy(site.canopy_m),
        )
    return said
