"""Published drift curves of ground booms: the deposit downwind of a treated field.

Measured without drift-reducing equipment in wind up to 5 m/s, at up to 8 km/h and with the boom
not too high.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from watcher.weather.series import Floats


@dataclass(frozen=True)
class DriftCurve:
    """``a * x ** b`` percent of the field's rate ``x`` metres downwind; seen from 1 to 50 m.

    Drift values of JKI / Rautmann, Streloke & Winkler 2001 for field crops as fitted by FOCUS
    (surface water scenarios, appendix B). ``percentile`` is that of a single application's
    deposit: for ``n`` applications the one that makes the sum of them a 90th percentile.
    """

    percentile: float
    a: float
    b: float

    @property
    def full_deposit_m(self) -> float:
        """Where the power law reaches the field's own rate, 100 %. [m]"""
        return float((100.0 / self.a) ** (1.0 / self.b))


CURVES = {
    1: DriftCurve(90, 2.7593, -0.9778),
    2: DriftCurve(82, 2.44, -1.01),
    3: DriftCurve(77, 2.02, -0.996),
    4: DriftCurve(74, 1.86, -0.986),
    5: DriftCurve(72, 1.79, -0.994),
    6: DriftCurve(70, 1.63, -0.986),
    7: DriftCurve(69, 1.58, -0.981),
    8: DriftCurve(67, 1.51, -0.983),
}
"""The published curves by number of applications a season."""

UPPER_CURVE = CURVES[1]
MEAN_CURVE = CURVES[8]
"""The published curve nearest the mean: a log-normal through the eight percentiles at 1 m has its
mean at about the 64th, so the 67th is a little above it."""

SEEN_FROM_M, SEEN_TO_M = 1.0, 50.0


def deposit_at(*, distance_m: ArrayLike, curve: DriftCurve = UPPER_CURVE) -> Floats:
    """Return the published deposit at a distance downwind of a wide field. [%], any shape

    Seen from 1 to 50 m. Nearer and further the power law goes on: nearer it is above the value at
    1 m, as it must be, and is cut at 100 %.
    """
    distance = np.maximum(distance_m, curve.full_deposit_m)
    return np.asarray(curve.a * distance**curve.b)


def strip_mean(*, near_m: ArrayLike, far_m: ArrayLike, curve: DriftCurve = UPPER_CURVE) -> Floats:
    """Return the mean published deposit between two distances (FOCUS 5.4.5). [%], any shape

    Nearer than where the power law reaches 100 %, the deposit counts as 100 %.
    """
    near, far = np.broadcast_arrays(
        np.asarray(near_m, dtype=np.float64), np.asarray(far_m, dtype=np.float64)
    )
    full = curve.full_deposit_m
    low, high = np.maximum(near, full), np.maximum(far, full)
    power = curve.b + 1.0
    integral = curve.a / power * (high**power - low**power)
    return np.asarray((integral + 100.0 * (low - near - (high - far))) / (far - near))


def distance_for(
    *, tolerance_pct: ArrayLike, strength: ArrayLike = 1.0, curve: DriftCurve = UPPER_CURVE
) -> Floats:
    """Return how far downwind of a wide field the deposit falls to a tolerance. [m], any shape

    For wind straight at the neighbour; ``strength`` is the index of ``watcher.weather.drift``.
    Infinite for a tolerance of nothing. Beyond 50 m the curve is extrapolated.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.divide(tolerance_pct, np.multiply(curve.a, strength))
        return np.asarray(ratio ** (1.0 / curve.b))


_ISO_22369 = ((0.99, "A"), (0.95, "B"), (0.90, "C"), (0.75, "D"), (0.50, "E"), (0.25, "F"))


def iso_22369_class(drift_reduction: float) -> str | None:
    """Return the ISO 22369-1 drift reduction class of a share avoided; None below 25 %.

    Class bounds from memory.
    """
    return next((name for least, name in _ISO_22369 if drift_reduction >= least), None)
