"""What a drift retardant in the tank changes: drift, coverage, and drops, never beyond one class.

With air-induction tips nothing: no significant cut was found there (Griesang et al., as
summarised). A label's droplet minimum is of the nozzle's own class, whatever is in the tank.
"""

from watcher.farm.adjuvant import Adjuvant
from watcher.farm.models import DropletClass, NozzleKind, Setup
from watcher.limits.weed_control import retardant_left

_DRIFT_SAVED = {Adjuvant.POLYACRYLAMIDE: 0.1, Adjuvant.GUAR: 0.25, Adjuvant.OTHER: 0.25}
"""Share of the drift saved while it is fresh: an estimate. The volume in drops under 150 um was
0.69 to 0.91 times that of water, 0.91 with polyacrylamide, which drifted most (Guler 2008, as
summarised); published credits go from none to 0.4."""


def works(setup: Setup) -> bool:
    """Whether there is a retardant in the tank that these tips let act at all."""
    return setup.adjuvant is not Adjuvant.NONE and setup.nozzle is not NozzleKind.AIR_INDUCTION


def drift_left(setup: Setup, *, pumped_min: float) -> float:
    """Return the share of the drift that is left with the setup's retardant. 0 to 1

    ``pumped_min`` is for how long the tank has been going round; infinite counts on nothing that
    the pump wears.
    """
    if not works(setup):
        return 1.0
    return 1.0 - _DRIFT_SAVED[setup.adjuvant] * retardant_left(setup.adjuvant, pumped_min)


def covering_class(setup: Setup) -> DropletClass:
    """Return the class by which the setup covers: with a retardant the next coarser one.

    Also while the pump wears it: weeds are given the worse of the two.
    """
    if not works(setup):
        return setup.droplets
    return DropletClass(min(setup.droplets + 1, DropletClass.ULTRA_COARSE))


def class_for_own_rules(setup: Setup, *, pumped_min: float) -> DropletClass:
    """Return the class that counts towards a grower's own minimum: at best medium by a retardant.

    Most move a fine spray to medium (medians of 201 um to 210-239 um: Guler 2008, as summarised);
    beyond that nothing is published that one could count on.
    """
    lasts = works(setup) and retardant_left(setup.adjuvant, pumped_min) > 0
    if not lasts or setup.droplets >= DropletClass.MEDIUM:
        return setup.droplets
    return DropletClass(setup.droplets + 1)
