"""What becomes of a setup's drops on one field at one time: how long they last, how far they go."""

from dataclasses import dataclass

import numpy as np

from watcher.farm.models import DropletClass
from watcher.judge.judgement import Judgement
from watcher.limits.air import wet_bulb_depression
from watcher.weather.drift import airborne_share
from watcher.weather.droplets import fly, lifetime_s
from watcher.weather.spray_quality import vanished_share

SIZES_M = (100e-6, 200e-6, 400e-6)
DISTANCES_M = (10.0, 50.0)


@dataclass(frozen=True)
class Drop:
    """One size of drop, released at the boom. NaN where wind or Delta T is not known."""

    diameter_m: float
    lasts_s: float
    """Until it has evaporated, if it did not land before; infinite in saturated air."""
    goes_m: float
    lands: bool
    """Whether it comes down at all before it is gone."""


@dataclass(frozen=True)
class DropsInAir:
    """Drops of a few sizes, and how much of the spray goes how far or never lands."""

    droplets: DropletClass
    drops: tuple[Drop, ...]
    airborne: tuple[tuple[float, float], ...]
    """Distance [m] and the share of the outer 20 m's spray that lands beyond it, 0 to 1: of the
    same deposit that is said of the neighbours."""
    dries_up: float
    """Share of the spray that dries up before it lands, at most. 0 to 1"""


def drops_in_air(judgement: Judgement, field: int, setup: int, time: int) -> DropsInAir:
    """Follow the drops of a setup over a field in the wind and the air of one time."""
    plan = judgement.plan
    air = {
        "wind_m_s": float(judgement.boom.wind_m_s[field, setup, time]),
        "delta_t_k": float(wet_bulb_depression(judgement.series)[time]),
        "boom_height_m": float(plan.boom_m[setup]),
        "canopy_m": float(plan.canopy_m[field]),
    }
    droplets = int(plan.droplets[setup])
    flight = fly(diameter_m=np.array(SIZES_M), **air)
    lasts = lifetime_s(diameter_m=np.array(SIZES_M), delta_t_k=air["delta_t_k"])
    strength = judgement.drift.strength(field, setup, time).expected
    share = airborne_share(distance_m=np.array(DISTANCES_M), strength=strength)
    return DropsInAir(
        droplets=DropletClass(droplets),
        drops=tuple(
            Drop(size, float(lasts[i]), float(flight.distance_m[i]), bool(flight.landed[i]))
            for i, size in enumerate(SIZES_M)
        ),
        airborne=tuple(zip(DISTANCES_M, share.tolist(), strict=True)),
        dries_up=float(vanished_share(droplets=droplets, **air)),
    )
