"""What each setup of a field would mean: nozzle, loads, drift, weed control, and which to use.

Everything is worked out by the rules the judgement itself goes by; nothing is decided here.
"""

import math
from dataclasses import dataclass

import numpy as np

from watcher.farm.models import Adjuvant, DropletClass, Origin, Setup, Sprayer, Weeds
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import NeighbourDeposit, neighbour_deposits
from watcher.judge.reasons import Reason, reasons
from watcher.judge.setup_choice import choose_setup
from watcher.limits.application import (
    RATED_PRESSURE_PA,
    WORKING_PRESSURE_PA,
    Loads,
    NozzleSize,
    droplets_at_pressure,
    finer_from,
    flow_for_carrier,
    loads,
    mix_for_load,
    nozzle_size,
    pressure_for_flow,
    size_for_flow,
    work_rate_of,
)
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.retardants import covering_class
from watcher.limits.status import Status
from watcher.limits.weed_control import RETARDANT_START, control_loss, retardant_left
from watcher.weather.drift_curves import iso_22369_class

_M2_PER_HA = 1e4


@dataclass(frozen=True)
class NozzleNeed:
    """What each nozzle must give for the carrier, and what that takes of it."""

    flow_l_min: float
    size: NozzleSize
    """The size mounted; where none is given, the one whose flow comes nearest."""
    mounted: bool
    pressure_pa: float
    """At which this size gives the flow, by the square-root law."""
    working_pa: tuple[float, float]
    """Pressures a nozzle of its kind is made for."""
    droplets: DropletClass
    """The class at that pressure."""
    finer_above_m_s: float
    """Forward speed above which the rate takes so much pressure that drops are a class finer."""

    @property
    def in_range(self) -> bool:
        """Whether the pressure is one the nozzle is made for."""
        return self.working_pa[0] <= self.pressure_pa <= self.working_pa[1]


@dataclass(frozen=True)
class Work:
    """How much work the field is with this setup."""

    loads: Loads
    full_load_m2: float
    """Area that a full tank covers: that many times the label's dose goes into it."""
    last_load_m2: float
    rate_m2_s: float
    duration_s: float
    """Planned for the whole job, fills and all."""

    @property
    def longest_load_m2(self) -> float:
        """Area of the largest load."""
        return self.full_load_m2 if self.loads.full else self.last_load_m2


@dataclass(frozen=True)
class WeedControl:
    """Loss of weed control, low and high estimate. [%]"""

    grasses_pct: tuple[float, float]
    broadleaves_pct: tuple[float, float]
    judged_pct: float
    """Against what is to be killed here: what the judgement goes by."""
    tolerated_pct: float
    origin: Origin
    """Whose what is tolerated is."""
    estimate: Origin = Origin.DEFAULT
    """Whose the estimate of the loss is that is judged by: the grower's own, or ours."""


@dataclass(frozen=True)
class RetardantUse:
    """How to use a drift retardant."""

    adjuvant: Adjuvant
    start_share: tuple[float, float]
    """Share of the full rate to start at; raised load by load, never above the label's maximum."""
    left_after_load: float
    """Share of its effect left when a full load has been sprayed out."""


@dataclass(frozen=True)
class SetupAdvice:
    """One setup on one field at one time."""

    name: str
    setup: Setup
    status: Status
    reasons: tuple[Reason, ...]
    """Every limit, the binding one first."""
    nozzle: NozzleNeed
    work: Work
    drift: float
    """How hard its spray drifts against the reference nozzle (1): as tested or by droplet class."""
    drift_upper: float
    """The same for the finest spray of its class: what is judged."""
    drift_class: str | None
    """Its class of ISO 22369; None below the lowest."""
    control: WeedControl
    worst: NeighbourDeposit | None
    """The neighbour in reach that gets most of what it stands; None without any."""
    retardant: RetardantUse | None


@dataclass(frozen=True)
class Cost:
    """What a setup costs against another one."""

    loss_pct: float
    """More loss of weed control, in points; negative where it loses less."""
    exposure: float
    """Times the exposure of the worst neighbour; NaN without one, or where it is not known."""
    duration_s: float
    """Longer in the field; negative where it is quicker."""


@dataclass(frozen=True)
class Advice:
    """Every setup a field may use, at one time."""

    field: str
    at: int
    chosen: SetupAdvice
    """The recommended setup; while the field is not open, the one that comes closest."""
    others: tuple[SetupAdvice, ...]
    """As they are written in the farm file."""

    @property
    def recommended(self) -> bool:
        """Whether the field is open with the chosen setup, so that it can be recommended."""
        return self.chosen.status >= Status.MARGINAL

    @property
    def every(self) -> tuple[SetupAdvice, ...]:
        return self.chosen, *self.others


def advise(judgement: Judgement, field: int, time: int) -> Advice:
    """Work out every setup the field may use, at one index of the judged series.

    A field that may use no setup at all is a ``ValueError``.
    """
    plan = judgement.plan
    chosen = choose_setup(judgement, field, time)
    if chosen is None:
        raise ValueError(f"field {plan.fields[field]!r} has no setup; the farm file must name one")
    others = (s for s in np.flatnonzero(plan.allowed[field]).tolist() if s != chosen)
    return Advice(
        field=plan.fields[field],
        at=int(judgement.series.times[time]),
        chosen=advise_on(judgement, field, chosen, time),
        others=tuple(advise_on(judgement, field, s, time) for s in others),
    )


def advise_on(judgement: Judgement, field: int, setup: int, time: int) -> SetupAdvice:
    """Work out one setup on one field at one index of the judged series."""
    plan, case = judgement.plan, (field, setup, time)
    name = plan.setups[setup]
    entry = plan.farm.config.setups[name]
    sprayer = plan.farm.config.sprayers[entry.sprayer]
    work = _work(
        float(plan.to_spray_m2[field, setup]), entry, sprayer, float(plan.duration_s[field, setup])
    )
    return SetupAdvice(
        name=name,
        setup=entry,
        status=Status(int(judgement.status[case])),
        reasons=tuple(reasons(judgement, *case)),
        nozzle=nozzle_need(entry, sprayer),
        work=work,
        drift=float(plan.spray_drift.expected[setup]),
        drift_upper=float(plan.spray_drift.upper[setup]),
        drift_class=None
        if entry.drift_reduction is None
        else iso_22369_class(entry.drift_reduction / 100.0),
        control=WeedControl(
            grasses_pct=_of_weeds(plan, entry, Weeds.GRASSES),
            broadleaves_pct=_of_weeds(plan, entry, Weeds.BROADLEAVES),
            estimate=plan.losses[field][setup].origin,
            judged_pct=float(plan.loss_pct[field, setup]),
            tolerated_pct=float(plan.loss_tolerated_pct[field]),
            origin=plan.loss_origin(field),
        ),
        worst=next(iter(neighbour_deposits(judgement, *case)), None),
        retardant=_retardant(entry, work, sprayer.fill_time),
    )


def _of_weeds(plan: FarmArrays, setup: Setup, weeds: Weeds) -> tuple[float, float]:
    """What a herbicide of which nothing is known loses with a setup. [%]"""
    own = plan.farm.config.judging.loss_by_mode
    lost = control_loss(covering_class(setup), setup.carrier, weeds, own=own)
    return lost.low_pct, lost.high_pct


def cost(of: SetupAdvice, against: SetupAdvice) -> Cost:
    """Return what one setup costs in place of another."""
    mine, theirs = (_exposure(a.worst) for a in (of, against))
    return Cost(
        loss_pct=of.control.judged_pct - against.control.judged_pct,
        exposure=mine / theirs if theirs > 0 else math.nan,
        duration_s=of.work.duration_s - against.work.duration_s,
    )


def _exposure(worst: NeighbourDeposit | None) -> float:
    return math.nan if worst is None else worst.upper_pct


def nozzle_need(setup: Setup, sprayer: Sprayer) -> NozzleNeed:
    """Return what a setup asks of each of its nozzles.

    The class given is the class at the pressure given; where pressure or size is not, it is taken
    as the class at which the nozzles run.
    """
    flow = flow_for_carrier(
        carrier_l_ha=setup.carrier, speed_m_s=sprayer.speed, spacing_m=sprayer.nozzle_spacing
    )
    size = (
        size_for_flow(flow_l_min=flow, pressure_pa=setup.pressure or RATED_PRESSURE_PA)
        if setup.nozzle_size is None
        else nozzle_size(setup.nozzle_size)
    )
    pressure = pressure_for_flow(
        flow_l_min=flow, known_flow_l_min=size.flow_l_min, known_pa=RATED_PRESSURE_PA
    )
    stated_pa = setup.pressure if setup.nozzle_size is not None and setup.pressure else pressure
    return NozzleNeed(
        flow_l_min=flow,
        size=size,
        mounted=setup.nozzle_size is not None,
        pressure_pa=pressure,
        working_pa=WORKING_PRESSURE_PA[setup.nozzle],
        droplets=droplets_at_pressure(
            droplets=setup.droplets, reference_pa=stated_pa, pressure_pa=pressure
        ),
        # The flow a rate needs grows with the speed, the pressure with its square.
        finer_above_m_s=sprayer.speed * math.sqrt(finer_from(reference_pa=stated_pa) / pressure),
    )


def _work(area_m2: float, setup: Setup, sprayer: Sprayer, duration_s: float) -> Work:
    needed = loads(area_m2=area_m2, carrier_l_ha=setup.carrier, tank_l=sprayer.tank)
    return Work(
        loads=needed,
        full_load_m2=_covered_m2(sprayer.tank, setup),
        last_load_m2=_covered_m2(needed.last_l, setup),
        rate_m2_s=work_rate_of(sprayer),
        duration_s=duration_s,
    )


def _covered_m2(load_l: float, setup: Setup) -> float:
    """Area a load covers: of a dose of one a hectare, so much goes into it."""
    per_ha = mix_for_load(load_l=load_l, carrier_l_ha=setup.carrier, dose_per_ha=1.0)
    return per_ha * _M2_PER_HA


def _retardant(setup: Setup, work: Work, fill_time_s: float) -> RetardantUse | None:
    if setup.adjuvant is Adjuvant.NONE:
        return None
    in_tank_s = fill_time_s + work.longest_load_m2 / work.rate_m2_s
    return RetardantUse(
        adjuvant=setup.adjuvant,
        start_share=RETARDANT_START,
        left_after_load=retardant_left(setup.adjuvant, in_tank_s / 60.0),
    )
