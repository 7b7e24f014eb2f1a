"""Application arithmetic: nozzle flow, rate, tank loads and how long a field takes.

SI in and out, flows in L/min and rates in L/ha as the trade counts them. Sources: square-root law
and rate formula as in extension circulars (UF/IFAS WG013, MU G1270a); field capacity
ASAE EP496/D497; nozzle sizes ISO 10625.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

from watcher.farm.models import DropletClass, NozzleKind, Sprayer

_M2_PER_HA = 1e4
RATED_PRESSURE_PA = 3e5
"""Pressure at which ISO 10625 states the flow of a size: 3 bar."""


WORKING_PRESSURE_PA = {
    NozzleKind.FLAT_FAN: (1.0e5, 4.2e5),
    NozzleKind.PRE_ORIFICE: (1.5e5, 5.0e5),
    NozzleKind.TURBULENCE_CHAMBER: (1.4e5, 6.2e5),
    NozzleKind.AIR_INDUCTION: (2.0e5, 8.0e5),
    NozzleKind.HOLLOW_CONE: (3.0e5, 20.0e5),
}
"""Pressures a nozzle of each kind is made for (common practice, no source: values from memory).
Under them the fan collapses, over them an ordinary fan turns to mist."""


class NozzleSize(NamedTuple):
    """One size of ISO 10625 (values from memory). The flow holds for water at 3 bar, ±5 %.

    Size colours have nothing to do with the colours of droplet classes.
    """

    code: str
    colour: str
    flow_l_min: float


NOZZLE_SIZES = (
    NozzleSize("0075", "pink", 0.30),
    NozzleSize("01", "orange", 0.40),
    NozzleSize("015", "green", 0.60),
    NozzleSize("02", "yellow", 0.80),
    NozzleSize("025", "lilac", 1.00),
    NozzleSize("03", "blue", 1.20),
    NozzleSize("035", "brown-red", 1.40),
    NozzleSize("04", "red", 1.60),
    NozzleSize("05", "brown", 2.00),
    NozzleSize("06", "grey", 2.40),
    NozzleSize("08", "white", 3.20),
    NozzleSize("10", "light blue", 4.00),
    NozzleSize("15", "light green", 6.00),
    NozzleSize("20", "black", 8.00),
)


def nozzle_size(code: str) -> NozzleSize:
    """Return the size with an ISO 10625 code, ``"04"``; an unknown code is a ``ValueError``."""
    by_code = {size.code: size for size in NOZZLE_SIZES}
    if code not in by_code:
        raise ValueError(f'no nozzle size "{code}" in ISO 10625; one of: {", ".join(by_code)}')
    return by_code[code]


def size_for_flow(*, flow_l_min: float, pressure_pa: float) -> NozzleSize:
    """Return the size whose rated flow is nearest, as a ratio, to a flow wanted at a pressure."""
    rated = flow_at_pressure(
        flow_l_min=flow_l_min, at_pa=pressure_pa, pressure_pa=RATED_PRESSURE_PA
    )
    return min(NOZZLE_SIZES, key=lambda size: abs(math.log(size.flow_l_min / rated)))


def flow_at_pressure(*, flow_l_min: float, at_pa: float, pressure_pa: float) -> float:
    """Return the flow at ``pressure_pa`` of a nozzle known to give ``flow_l_min`` at ``at_pa``."""
    return flow_l_min * math.sqrt(pressure_pa / at_pa)


def pressure_for_flow(*, flow_l_min: float, known_flow_l_min: float, known_pa: float) -> float:
    """Return the pressure at which a nozzle of a known flow gives ``flow_l_min``. [Pa]"""
    return known_pa * (flow_l_min / known_flow_l_min) ** 2


def flow_of_solution(*, water_flow_l_min: float, relative_density: float) -> float:
    """Return the flow of a solution ``relative_density`` times as dense as water. [L/min]"""
    return water_flow_l_min / math.sqrt(relative_density)


def carrier_from_flow(*, flow_l_min: float, speed_m_s: float, spacing_m: float) -> float:
    """Return the rate one nozzle's flow puts on the ground. [L/ha]"""
    return flow_l_min / 60.0 * _M2_PER_HA / (speed_m_s * spacing_m)


def flow_for_carrier(*, carrier_l_ha: float, speed_m_s: float, spacing_m: float) -> float:
    """Return the flow each nozzle must give for a rate. [L/min]"""
    return carrier_l_ha / _M2_PER_HA * speed_m_s * spacing_m * 60.0


def speed_for_carrier(*, carrier_l_ha: float, flow_l_min: float, spacing_m: float) -> float:
    """Return the forward speed at which a flow gives a rate. [m/s]"""
    return flow_l_min / 60.0 * _M2_PER_HA / (carrier_l_ha * spacing_m)


_HALF_STEP = 0.5


def finer_from(*, reference_pa: float) -> float:
    """Return the pressure from which the spray is one class finer than it is at another. [Pa]"""
    return float(reference_pa * 2.0**_HALF_STEP)


def droplets_at_pressure(
    *, droplets: DropletClass, reference_pa: float, pressure_pa: float
) -> DropletClass:
    """Return the droplet class a nozzle sprays at another pressure than its class is stated for.

    Doubling the pressure makes the spray one class finer, halving it one class coarser; half a
    step counts as finer, the side that drifts. Common practice, no source: the maker's chart of
    the nozzle, where the grower has it, stands.
    """
    finer = math.floor(math.log2(pressure_pa / reference_pa) + _HALF_STEP)
    return DropletClass(min(max(droplets - finer, 0), len(DropletClass) - 1))


@dataclass(frozen=True)
class Loads:
    """The tank loads of a job: so many full ones, then a last one of ``last_l`` (0: none)."""

    full: int
    last_l: float

    @property
    def count(self) -> int:
        """How many times the tank is filled."""
        return self.full + (self.last_l > 0)


def loads(*, area_m2: float, carrier_l_ha: float, tank_l: float) -> Loads:
    """Return the tank loads an area takes at a rate."""
    total_l = area_m2 / _M2_PER_HA * carrier_l_ha
    # A millilitre over a full tank is rounding, not another load.
    full = math.floor((total_l + 1e-3) / tank_l)
    last_l = total_l - full * tank_l
    return Loads(full, last_l if last_l > 1e-3 else 0.0)


def mix_for_load(*, load_l: float, carrier_l_ha: float, dose_per_ha: float) -> float:
    """Return how much product goes into a load, in the dose's own unit (L, kg, ...)."""
    return load_l / carrier_l_ha * dose_per_ha


def work_rate(*, speed_m_s: float, boom_width_m: float, efficiency_pct: float) -> float:
    """Return the area sprayed per second. [m²/s]

    ASAE EP496 field capacity; ``efficiency_pct`` covers turns and overlap (D497: 50-80 %,
    typically 65 %).
    """
    return speed_m_s * boom_width_m * efficiency_pct / 100.0


def work_rate_of(sprayer: Sprayer) -> float:
    """Return the area a sprayer covers per second of spraying, turns and overlap in. [m²/s]"""
    return work_rate(
        speed_m_s=sprayer.speed,
        boom_width_m=sprayer.boom_width,
        efficiency_pct=sprayer.field_efficiency,
    )


def planned_duration(*, area_m2: float, sprayer: Sprayer, carrier_l_ha: float) -> float:
    """Return how long a field takes: area over work rate, plus every fill, the first too. [s]"""
    fills = loads(area_m2=area_m2, carrier_l_ha=carrier_l_ha, tank_l=sprayer.tank).count
    return area_m2 / work_rate_of(sprayer) + fills * sprayer.fill_time
