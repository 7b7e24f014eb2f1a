"""What rules ask of the equipment, held against a setup: known from the farm file alone."""

import math
from collections.abc import Iterable, Iterator

from watcher.farm.models import FarmFile, Setup
from watcher.farm.rules.base import is_for
from watcher.farm.rules.equipment import (
    AdditiveRule,
    BoomHeightRule,
    CarrierRule,
    DropletRange,
    NozzleRule,
    SpeedRule,
)
from watcher.farm.rules.mix import RuleOf
from watcher.i18n.message import Message, ShownQuantity, say
from watcher.units import Kind


def equipment_breaks(
    config: FarmFile, setup: Setup, rules: Iterable[RuleOf]
) -> Iterator[tuple[RuleOf, Message]]:
    """Yield the rules on equipment that a setup does not keep, each with what it lacks."""
    sprayer, system = config.sprayers.get(setup.sprayer), config.farm.units
    for rule_of in rules:
        if sprayer is not None and not is_for(rule_of.rule, sprayer.kind):
            continue
        match rule_of.rule:
            case DropletRange(finest=finest) if finest is not None and setup.droplets < finest:
                lacks = say("droplets {size} or coarser", size=finest.words)
            case DropletRange(coarsest=most) if most is not None and setup.droplets > most:
                lacks = say("droplets {size} or finer", size=most.words)
            case CarrierRule(least=least) if least is not None and setup.carrier < least - 1e-6:
                lacks = say("at least {bound}", bound=ShownQuantity(least, Kind.CARRIER, system))
            case CarrierRule(most=most) if most is not None and setup.carrier > most + 1e-6:
                lacks = say("at most {bound}", bound=ShownQuantity(most, Kind.CARRIER, system))
            case BoomHeightRule(most=most) if sprayer and sprayer.boom_height > most + 1e-9:
                height = ShownQuantity(most, Kind.SMALL_LENGTH, system)
                lacks = say("boom no higher than {height}", height=height)
            case SpeedRule(most=most) if sprayer and sprayer.speed > most + 1e-9:
                speed = ShownQuantity(most, Kind.SPEED, system)
                lacks = say("speed of at most {speed}", speed=speed)
            case NozzleRule() as rule if not _listed(rule, setup):
                lacks = say("a nozzle of its list, at a pressure listed")
            case AdditiveRule(needed="required", additive=what) if what not in setup.additives:
                lacks = say("{additive} in every load", additive=what)
            case AdditiveRule(needed="barred", additive=what) if what in setup.additives:
                lacks = say("no {additive}", additive=what)
            case _:
                continue
        yield rule_of, lacks


def _listed(rule: NozzleRule, setup: Setup) -> bool:
    """Whether a setup's nozzle is on a list at its pressure; not known is not listed."""
    for nozzle in rule.nozzles:
        if nozzle.name != setup.listed_nozzle:
            continue
        if nozzle.least is None and nozzle.most is None:
            return True
        pressure = setup.pressure
        if pressure is not None and (nozzle.least or 0.0) <= pressure <= (nozzle.most or math.inf):
            return True
    return False
