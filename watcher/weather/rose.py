"""Where the wind came from, how often and how strong: the shares a wind rose is drawn from."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from watcher.weather.series import Floats
from watcher.weather.wind import CALM_M_S

SECTORS = 16


@dataclass(frozen=True)
class Rose:
    """Shares of the times at which the wind was known; all of them together are 1.

    ``shares`` [D, C]: by direction, sector 0 centred on the north and then clockwise, and by class
    of speed, the first from ``CALM_M_S`` to the first of ``edges_m_s``, the last beyond the last.
    ``calm``: weaker than ``CALM_M_S``. ``unsteady``: a wind without a direction.
    """

    shares: Floats
    edges_m_s: tuple[float, ...]
    calm: float
    unsteady: float
    known: int

    @property
    def centres_deg(self) -> Floats:
        """The middle of each sector. [D], degrees"""
        sectors = self.shares.shape[0]
        centres: Floats = np.arange(sectors) * 360.0 / sectors
        return centres


def rose(
    *,
    wind_m_s: ArrayLike,
    from_deg: ArrayLike,
    edges_m_s: Sequence[float],
    sectors: int = SECTORS,
) -> Rose:
    """Return the shares of winds, each time counting alike. [T] both; times without a wind don't.

    A direction on the border of two sectors counts in the later one, a speed on an edge in the
    stronger class. All shares are NaN where no wind is known.
    """
    wind = np.asarray(wind_m_s, dtype=np.float64)
    direction = np.asarray(from_deg, dtype=np.float64)
    known = np.isfinite(wind)
    blowing = known & (wind >= CALM_M_S)
    with_direction = blowing & np.isfinite(direction)
    width = 360.0 / sectors
    sector = np.floor((direction[with_direction] + width / 2) / width).astype(np.int64) % sectors
    strength = np.searchsorted(np.asarray(edges_m_s), wind[with_direction], side="right")
    classes = len(edges_m_s) + 1
    counts = np.bincount(sector * classes + strength, minlength=sectors * classes)
    all_known = int(known.sum())
    whole = float(all_known) if all_known else np.nan
    return Rose(
        shares=counts.reshape(sectors, classes) / whole,
        edges_m_s=tuple(float(edge) for edge in edges_m_s),
        calm=float((known & ~blowing).sum()) / whole,
        unsteady=float((blowing & ~with_direction).sum()) / whole,
        known=all_known,
    )
