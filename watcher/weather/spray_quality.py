"""Spray quality: the drop sizes of a droplet class, and how much of it stays in the air.

A class is an index, 0 extremely fine to 7 ultra coarse, in the order of ASABE S572 / ISO 25358.
The standard compares with reference nozzles and states no sizes; those here are what extension
services print beside it.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.droplets import JET_M_S, fly
from watcher.weather.series import Floats
from watcher.weather.wind_profile import GRASS_M

DRIFTABLE_M = 150e-6
"""Drops below 150 µm are the ones counted as driftable."""


class SprayQuality(NamedTuple):
    """Median drop size by volume, and the shape of the Rosin-Rammler distribution around it."""

    dv05_m: float
    exponent: float


def _with_driftable(dv05_m: float, share: float) -> SprayQuality:
    """Shape the distribution so that ``share`` of the volume is in driftable drops."""
    exponent = np.log(-np.log2(1.0 - share)) / np.log(DRIFTABLE_M / dv05_m)
    return SprayQuality(dv05_m, float(exponent))


_FINE = _with_driftable(185e-6, 0.40)

# Medians: middle of where the ranges printed for S572 and S572.1 agree (from memory); extremely
# fine and ultra coarse have one bound each. Driftable shares: the most the class may have, 20 % for
# medium, 10 % for coarse, 5 % for very coarse (GRDC), and by the same source's rule half as much
# for each coarser class, twice as much for fine. Extremely and very fine: no share printed, the
# shape of fine.
CLASSES = (
    SprayQuality(50e-6, _FINE.exponent),  # extremely fine
    SprayQuality(83e-6, _FINE.exponent),  # very fine
    _FINE,
    _with_driftable(280e-6, 0.20),  # medium
    _with_driftable(370e-6, 0.10),  # coarse
    _with_driftable(452e-6, 0.05),  # very coarse
    _with_driftable(584e-6, 0.025),  # extremely coarse
    _with_driftable(750e-6, 0.0125),  # ultra coarse
)

_MEDIANS = np.array([quality.dv05_m for quality in CLASSES])
_EXPONENTS = np.array([quality.exponent for quality in CLASSES])


def volume_share_below(*, droplets: NDArray[np.integer] | int, diameter_m: ArrayLike) -> Floats:
    """Return the share of a class's volume in drops below a diameter. 0 to 1, shapes broadcast."""
    size = np.asarray(diameter_m, dtype=np.float64) / _MEDIANS[droplets]
    return np.asarray(-np.expm1(-np.log(2.0) * size ** _EXPONENTS[droplets]))


_SIZES_M = np.geomspace(10e-6, 2e-3, 64)
_NEXT_TO_NOTHING_M, _FOR_EVER_M = 1e-9, 1e9


def airborne_share(
    *,
    droplets: NDArray[np.integer] | int,
    distance_m: ArrayLike,
    wind_m_s: ArrayLike,
    delta_t_k: ArrayLike,
    boom_height_m: ArrayLike,
    canopy_m: ArrayLike = GRASS_M,
    jet_m_s: ArrayLike = JET_M_S,
) -> Floats:
    """Return the share of a spray still in the air when it has gone ``distance_m`` downwind.

    0 to 1 of the volume sprayed; shapes broadcast, NaN in gives NaN. Weather and boom as in
    ``watcher.weather.droplets.fly``. What evaporates on the way counts as in the air at any
    distance: the residue does not come down. For ranking: single drops in steady wind.
    """
    weather = np.broadcast_arrays(
        *(np.asarray(a)[..., None] for a in (wind_m_s, delta_t_k, boom_height_m, canopy_m, jet_m_s))
    )
    flight = fly(
        diameter_m=_SIZES_M,
        wind_m_s=weather[0],
        delta_t_k=weather[1],
        boom_height_m=weather[2],
        canopy_m=weather[3],
        jet_m_s=weather[4],
    )
    gone = ~flight.landed & ~np.isnan(flight.distance_m)
    reach = np.where(gone, _FOR_EVER_M, flight.distance_m)
    return volume_share_below(
        droplets=droplets, diameter_m=_largest_beyond(reach, np.asarray(distance_m))
    )


def _largest_beyond(reach: Floats, distance: Floats) -> Floats:
    """The largest drop that goes further than a distance, between the sizes followed. [m]

    ``reach`` is [..., size], falling with size. Where only drops that evaporate go further, the
    next size counts.
    """
    reach, distance = np.broadcast_arrays(reach, distance[..., None])
    last = np.where(reach > distance, np.arange(_SIZES_M.size), 0).max(axis=-1, keepdims=True)
    following = np.minimum(last + 1, _SIZES_M.size - 1)
    far, near, here = (
        np.log(np.maximum(metres, _NEXT_TO_NOTHING_M))
        for metres in (
            np.take_along_axis(reach, last, axis=-1),
            np.take_along_axis(reach, following, axis=-1),
            distance[..., :1],
        )
    )
    part = np.clip((far - here) / np.where(far > near, far - near, np.inf), 0.0, 1.0)
    part[far >= np.log(_FOR_EVER_M)] = 1.0
    size = _SIZES_M[last] * (_SIZES_M[following] / _SIZES_M[last]) ** part
    known = ~np.isnan(reach).any(axis=-1) & ~np.isnan(distance[..., 0])
    return np.where(known, size[..., 0], np.nan)
