"""Drops of water in air: how fast they fall, how long they last, how far the wind takes them.

Air of 20 °C at sea level throughout; between 5 and 35 °C fall speeds differ by 5 %. A drop is
alone in the air: no air drawn along by the spray, no turbulence.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.series import Floats
from watcher.weather.wind_profile import GRASS_M, Surface

_WATER_KG_M3 = 998.2
_AIR_KG_M3 = 1.204
_AIR_VISCOSITY_PA_S = 1.81e-5
_WEIGHT_M_S2 = 9.80665 * (1.0 - _AIR_KG_M3 / _WATER_KG_M3)

# Drag over Stokes' drag, less one, of water drops by Reynolds number: c * Re ** n for Re to 2, to
# 21 and to 200 (Beard & Pruppacher 1969, from memory). The least of the three is continuous; the
# last is carried on above 200.
_DRAG = ((0.102, 0.955), (0.115, 0.802), (0.189, 0.632))
# Drops above 1 mm flatten as they fall, which raises the drag: fitted here, through the fall speed
# of 2 mm drops by Gunn & Kinzer 1949.
_ROUND_TO_M = 1e-3
_FLATTENING_PER_M = 270.0

_AMSDEN_M2_S_K = 80e-12

JET_M_S = 20.0
"""Speed at which drops leave a flat fan at about 3 bar (from memory)."""


def _drag_factor(speed: Floats, diameter: Floats) -> Floats:
    """Drag over Stokes' drag at a speed relative to the air."""
    reynolds = _AIR_KG_M3 * speed * diameter / _AIR_VISCOSITY_PA_S
    excess = np.minimum.reduce([c * reynolds**n for c, n in _DRAG])
    flattened = 1.0 + _FLATTENING_PER_M * np.maximum(diameter - _ROUND_TO_M, 0.0)
    return np.asarray((1.0 + excess) * flattened)


def _stokes_time(diameter: Floats) -> Floats:
    """Time in which slow flow brings a drop to the speed of the air. [s]"""
    return _WATER_KG_M3 * diameter**2 / (18.0 * _AIR_VISCOSITY_PA_S)


def terminal_velocity(*, diameter_m: ArrayLike) -> Floats:
    """Return the speed at which a drop falls in still air. [m/s], any shape

    Within 5 % of Gunn & Kinzer 1949 from 0.1 to 2 mm, Stokes' law below.
    """
    diameter = np.asarray(diameter_m, dtype=np.float64)
    stokes = _WEIGHT_M_S2 * _stokes_time(diameter)
    speed = stokes.copy()
    # speed * drag is a power of the speed between 1 and 1.6: each turn cuts the error to a quarter.
    for _ in range(25):
        speed = speed * (stokes / (speed * _drag_factor(speed, diameter))) ** (1 / 1.3)
    return speed


def lifetime_s(*, diameter_m: ArrayLike, delta_t_k: ArrayLike) -> Floats:
    """Return how long a drop of water lasts: d²/(80 ΔT) with d in µm (Amsden 1962). Any shape

    ``delta_t_k`` is the wet-bulb depression. Infinite in saturated air.
    """
    area = np.asarray(diameter_m, dtype=np.float64) ** 2
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(area / (_AMSDEN_M2_S_K * np.maximum(delta_t_k, 0.0)))


@dataclass(frozen=True)
class Flight:
    """Where drops end: on the canopy, or in the air where they have evaporated."""

    distance_m: Floats
    height_m: Floats
    """Above the canopy; 0 where landed. [m]"""
    time_s: Floats
    landed: NDArray[np.bool_]


_STEPS = 300


def fly(
    *,
    diameter_m: ArrayLike,
    wind_m_s: ArrayLike,
    delta_t_k: ArrayLike,
    boom_height_m: ArrayLike,
    canopy_m: ArrayLike = GRASS_M,
    jet_m_s: ArrayLike = JET_M_S,
) -> Flight:
    """Follow evaporating drops from the boom until they land or are gone. Shapes broadcast.

    ``wind_m_s`` is the wind at the boom, logarithmic below it; ``boom_height_m`` is above a canopy
    of ``canopy_m``; drops leave straight down at ``jet_m_s`` and shrink by Amsden's law. Drops from
    10 µm to 2 mm. NaN in gives NaN.

    All drops at once, each with its own ``_STEPS`` steps: fine at first, while the jet is braked,
    and ever longer. Drag is solved exactly within a step for the drag at its middle (an exponential
    midpoint rule), so that the shortest-lived drops need no shorter steps. Within 1 % of an
    adaptive stiff solver.
    """
    given = (diameter_m, wind_m_s, delta_t_k, boom_height_m, canopy_m, jet_m_s)
    drops = _Drops(*np.broadcast_arrays(*(np.asarray(a, dtype=np.float64) for a in given)))
    return _follow(drops)


@dataclass(frozen=True)
class _Drops:
    diameter: Floats
    wind: Floats
    delta_t: Floats
    boom: Floats
    canopy: Floats
    jet: Floats

    def times(self) -> Floats:
        """Steps of every drop, from release to when it must have landed or evaporated."""
        settling = terminal_velocity(diameter_m=self.diameter)
        # A drop's speed shrinks at most with its area, so it takes at most twice as long as at its
        # first speed; the second term is for getting up to speed. A fifth to spare.
        landed = 1.2 * (2.0 * self.boom / settling + 2.0 * settling / _WEIGHT_M_S2)
        last = np.minimum(landed, lifetime_s(diameter_m=self.diameter, delta_t_k=self.delta_t))
        braked = _stokes_time(self.diameter) / _drag_factor(self.jet, self.diameter)
        steps = np.linspace(0.0, 1.0, _STEPS + 1).reshape(-1, *(1,) * last.ndim)
        return np.asarray(np.minimum(braked * np.sinh(steps * np.arcsinh(last / braked)), last))

    def diameter_at(self, time: Floats) -> Floats:
        shrunk = self.diameter**2 - _AMSDEN_M2_S_K * np.maximum(self.delta_t, 0.0) * time
        return np.sqrt(np.maximum(shrunk, 0.0))

    def wind_at(self, height: Floats) -> Floats:
        ground = Surface.of_canopy(self.canopy)
        zero, rough = ground.displacement_m - self.canopy, ground.roughness_m
        profile = np.log((np.maximum(height, 0.0) - zero) / rough)
        return np.asarray(self.wind * profile / np.log((self.boom - zero) / rough))


def _follow(drops: _Drops) -> Flight:
    """March all drops through their steps; a state is [x, z, speed along x, speed along z]."""
    times = drops.times()
    nothing = np.zeros(drops.diameter.shape)
    now = np.stack([nothing, drops.boom, nothing, -drops.jet])
    ended, flying = times[-1].copy(), np.ones(nothing.shape, dtype=bool)
    for begin, step in zip(times[:-1], np.diff(times, axis=0), strict=True):
        middle = _move(drops, now, now, begin, step / 2)
        then = _move(drops, now, middle, begin + step / 2, step)
        down = flying & (then[1] <= 0)
        part = np.where(down, now[1] / np.where(down, now[1] - then[1], 1.0), 1.0)
        ended = np.where(down, begin + part * step, ended)
        now = np.where(flying, now + part * (then - now), now)
        flying &= ~down
        if not flying.any():
            break
    return Flight(now[0], np.where(flying, now[1], 0.0), ended, ~flying)


def _move(drops: _Drops, start: Floats, rates_at: Floats, time: Floats, step: Floats) -> Floats:
    """Move drops by a step, with wind and drag held as they are in the state ``rates_at``."""
    diameter, wind = drops.diameter_at(time), drops.wind_at(rates_at[1])
    slip = np.hypot(rates_at[2] - wind, rates_at[3])
    braking = _stokes_time(diameter) / _drag_factor(slip, diameter)
    tends_to = np.stack([wind, -_WEIGHT_M_S2 * braking])
    lost = -np.expm1(-step / braking)
    lag = start[2:] - tends_to
    return np.concatenate(
        [start[:2] + tends_to * step + lag * braking * lost, start[2:] - lag * lost]
    )
