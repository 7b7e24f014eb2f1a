"""Spray quality: the drop sizes of a droplet class, how hard they drift, and what dries up of them.

A class is an index, 0 extremely fine to 7 ultra coarse, in the order of ASABE S572 / ISO 25358.
The standard compares with reference nozzles and states no sizes; those here are what extension
services print beside it.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.droplets import JET_M_S, fly
from watcher.weather.series import Floats
from watcher.weather.wind_profile import GRASS_M

Classes = NDArray[np.integer] | int

FINE, MEDIUM = 2, 3

# Medians by volume printed as bounds of the classes: to fine in 2014, the others from memory. Those
# of reference nozzles of three makers differ by up to 34 µm. The finest has a lower bound of ours,
# the coarsest is taken as wide as the one before it.
_BOUNDS_M = np.array([40.0, 60.0, 137.0, 235.0, 340.0, 403.0, 502.0, 665.0, 881.0]) * 1e-6
_MEDIANS_M = np.sqrt(_BOUNDS_M[:-1] * _BOUNDS_M[1:])
REFERENCE_MEDIAN_M = float(_BOUNDS_M[MEDIUM])
"""Of the nozzle between fine and medium (110° 03 at 3 bar), the reference of drift trials, with
which the published curves were measured."""

# Rosin-Rammler with a tenth of the volume in drops under 0.46 of the median (from memory).
_EXPONENT = 2.43

DRIFTABLE_M = 150e-6
"""Drops below 150 µm are the ones counted as driftable (GRDC)."""
_PERHAPS_DRIFTABLE_M = 200e-6
_DRIES_UP_AT_MOST_M = 60e-6


def _share_below(diameter_m: ArrayLike, median_m: ArrayLike) -> Floats:
    size = np.asarray(diameter_m, dtype=np.float64) / np.asarray(median_m)
    return np.asarray(-np.expm1(-np.log(2.0) * size**_EXPONENT))


def volume_share_below(*, droplets: Classes, diameter_m: ArrayLike) -> Floats:
    """Return the share of a class's volume in drops below a diameter. 0 to 1, shapes broadcast."""
    return _share_below(diameter_m, _MEDIANS_M[droplets])


@dataclass(frozen=True)
class SprayDrift:
    """How hard sprays drift against the reference nozzle (1), at the same boom, speed and wind.

    ``expected`` by the share of volume in driftable drops against the reference's. ``upper`` for
    the finest spray of the class, by drops up to 200 µm, and never below ``expected``: field
    trials of ground booms found fine sprays to leave 3 times (10 m) to twice (100 m) as much as
    medium to coarse ones. ``finer`` says where a spray is finer than the reference: such sprays
    gain more from a higher boom. Arrays of one shape.
    """

    expected: Floats
    upper: Floats
    finer: NDArray[np.bool_]

    @classmethod
    def of(cls, *, droplets: Classes, reduction: ArrayLike = np.nan) -> Self:
        """Return those of droplet classes; shapes broadcast.

        ``reduction`` is a tested share of the reference's drift avoided, 0 to 1, which takes the
        place of what the class tells; NaN where there is none. ValueError where it is no share.
        """
        tested = np.asarray(reduction, dtype=np.float64)
        if np.any((tested < 0) | (tested > 1)):
            raise ValueError("a drift reduction is a share between 0 and 1")
        expected = _against_reference(DRIFTABLE_M, _MEDIANS_M[droplets])
        finest = _against_reference(_PERHAPS_DRIFTABLE_M, _BOUNDS_M[droplets])
        untested = np.isnan(tested)
        passed = 1.0 - tested
        return cls(
            np.where(untested, expected, passed),
            np.where(untested, np.maximum(finest, expected), passed),
            np.broadcast_to(np.asarray(droplets) <= FINE, np.broadcast(expected, tested).shape),
        )

    def times(self, share: ArrayLike) -> Self:
        """Return these with only a share of the drift left, as with a retardant; broadcasts."""
        left = np.asarray(share, dtype=np.float64)
        return type(self)(self.expected * left, self.upper * left, self.finer)

    def at(self, index: int | slice | tuple[slice | None, ...]) -> Self:
        """Return those of some of the sprays, or laid along other axes."""
        return type(self)(
            np.asarray(self.expected[index]),
            np.asarray(self.upper[index]),
            np.asarray(self.finer[index]),
        )


def _against_reference(diameter_m: float, median_m: Floats) -> Floats:
    reference = _share_below(diameter_m, REFERENCE_MEDIAN_M)
    return np.asarray(_share_below(diameter_m, median_m) / reference)


_SIZES_M = np.geomspace(10e-6, _DRIES_UP_AT_MOST_M, 24)


def vanished_share(
    *,
    droplets: Classes,
    wind_m_s: ArrayLike,
    delta_t_k: ArrayLike,
    boom_height_m: ArrayLike,
    canopy_m: ArrayLike = GRASS_M,
    jet_m_s: ArrayLike = JET_M_S,
) -> Floats:
    """Return the share of a spray's volume that may dry up before it lands. 0 to 1

    Shapes broadcast, NaN in gives NaN. Weather and boom as in ``watcher.weather.droplets.fly``.
    An upper estimate: single drops, of at most 60 µm, for in the cloud of a spray they dry more
    slowly (Teske 2016, as summarised). What dries up leaves its residue in the air.
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
    unknown = np.isnan(flight.distance_m).any(axis=-1)
    gone = np.where(flight.landed, 0.0, _SIZES_M).max(axis=-1)
    return volume_share_below(droplets=droplets, diameter_m=np.where(unknown, np.nan, gone))
