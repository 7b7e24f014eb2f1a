"""Loss of weed control by droplets and water, and how long a drift retardant works.

Everything here is common practice, no source: published trials disagree on droplet size and
efficacy, so the farm file may change what is lost (``loss_by_mode``) and what is tolerated.
"""

from collections.abc import Collection, Mapping
from typing import NamedTuple

import numpy as np

from watcher.farm.control_loss import LossEstimate, LossOf
from watcher.farm.models import Adjuvant, DropletClass, Origin, Weeds
from watcher.farm.products import ModeOfAction


class _Loss(NamedTuple):
    """Low and high estimate of the loss against a well covering spray, with much and little water.

    Percentage points of control.
    """

    much_water: tuple[float, float]
    little_water: tuple[float, float]


_MUCH_WATER_L_HA = 15 * 9.353956
"""15 gal/acre; more water brings no further gain that anyone counts on."""
_LITTLE_WATER_L_HA = 7 * 9.353956
"""7 gal/acre; below it the loss is held, for want of any figure."""

# Estimates of ours by what is sprayed, from trials that disagree: what is to be killed matters for
# translocated herbicides, where the weeds decide. Of a herbicide whose mode nobody gave, common
# practice.
_ESTIMATES = {
    LossOf.GRASSES: _Loss((5.0, 8.0), (17.0, 23.0)),
    LossOf.BROADLEAVES: _Loss((6.0, 7.0), (14.0, 22.0)),
    LossOf.TRANSLOCATED_GRASSES: _Loss((0.0, 8.0), (0.0, 20.0)),
    LossOf.TRANSLOCATED_BROADLEAVES: _Loss((0.0, 4.0), (0.0, 10.0)),
    LossOf.CONTACT_HERBICIDE: _Loss((0.0, 8.0), (0.0, 25.0)),
    LossOf.RESIDUAL_HERBICIDE: _Loss((0.0, 2.0), (0.0, 3.0)),
    LossOf.CONTACT_INSECTICIDE: _Loss((2.0, 12.0), (8.0, 30.0)),
    LossOf.SYSTEMIC_INSECTICIDE: _Loss((0.0, 5.0), (2.0, 10.0)),
    LossOf.PROTECTANT_FUNGICIDE: _Loss((2.0, 10.0), (10.0, 30.0)),
    LossOf.SYSTEMIC_FUNGICIDE: _Loss((0.0, 3.0), (0.0, 10.0)),
}
_ON_WEEDS = {
    Weeds.GRASSES: (LossOf.GRASSES, LossOf.TRANSLOCATED_GRASSES),
    Weeds.BROADLEAVES: (LossOf.BROADLEAVES, LossOf.TRANSLOCATED_BROADLEAVES),
}
_BY_THE_WEEDS = {None, ModeOfAction.OTHER, ModeOfAction.TRANSLOCATED_HERBICIDE}
# A choice of ours: with little water fine drops lose about a fifth, medium ones about two fifths
# of what coarse ones lose.
_SHARE_WITH_LITTLE_WATER = {
    DropletClass.EXTREMELY_FINE: 0.2,
    DropletClass.VERY_FINE: 0.2,
    DropletClass.FINE: 0.2,
    DropletClass.MEDIUM: 0.4,
}
_MORE_PER_COARSER_CLASS = 0.25
"""A choice of ours: each class beyond coarse loses a quarter of coarse's loss more."""


class LostControl(NamedTuple):
    """Control lost against a well covering spray, low and high estimate. [%]"""

    low_pct: float
    high_pct: float
    origin: Origin
    """Whose the estimate is that decides: the grower's own, or ours."""


def control_loss(
    droplets: DropletClass,
    carrier_l_ha: float,
    weeds: Weeds,
    modes: Collection[ModeOfAction | None] = (),
    own: Mapping[LossOf, LossEstimate] | None = None,
) -> LostControl:
    """Return the low and high estimate of the control lost against a well covering spray.

    Fine and medium drops with 15 gal/acre lose nothing; coarse ones what ``own`` says of what is
    sprayed, else our estimates: where nothing is known of the product 5-8 % of the grasses and
    6-7 % of the broadleaves with 15 gal/acre, 17-23 % and 14-22 % with 7. Linear in the water
    between the two, held outside them. By our estimates more water never loses more, and coarser
    drops never less. Mixed weeds lose what the worse of the two loses. ``modes`` are those of the
    products in the tank, which lose what the worst of them loses; None and none at all stand for
    a product of which nothing is known.
    """
    kinds = list(_ON_WEEDS) if weeds is Weeds.MIXED else [weeds]
    losses = []
    for of in dict.fromkeys(of for mode in modes or (None,) for of in _loss_of(mode, kinds)):
        given = None if own is None else own.get(of)
        coarse = _ESTIMATES[of] if given is None else _Loss(given.much_water, given.little_water)
        origin = Origin.DEFAULT if given is None else Origin.OWN
        losses.append((*_loss(droplets, carrier_l_ha, coarse), origin))
    worst = max(losses, key=lambda loss: loss[1])
    return LostControl(max(low for low, _, _ in losses), worst[1], worst[2])


def _loss_of(mode: ModeOfAction | None, kinds: Collection[Weeds]) -> list[LossOf]:
    if mode is not None and mode not in _BY_THE_WEEDS:
        return [LossOf(mode.value)]
    translocated = mode is ModeOfAction.TRANSLOCATED_HERBICIDE
    return [_ON_WEEDS[kind][translocated] for kind in kinds]


def _loss(droplets: DropletClass, carrier_l_ha: float, coarse: _Loss) -> tuple[float, float]:
    much, little = _shares_of_coarse(droplets)
    low, high = (
        float(
            np.interp(
                carrier_l_ha,
                (_LITTLE_WATER_L_HA, _MUCH_WATER_L_HA),
                (little * with_little, much * with_much),
            )
        )
        for with_much, with_little in zip(coarse.much_water, coarse.little_water, strict=True)
    )
    return low, high


def _shares_of_coarse(droplets: DropletClass) -> tuple[float, float]:
    """Loss as a share of coarse's: with much water, with little."""
    if droplets < DropletClass.COARSE:
        return 0.0, _SHARE_WITH_LITTLE_WATER[droplets]
    more = 1.0 + _MORE_PER_COARSER_CLASS * (droplets - DropletClass.COARSE)
    return more, more


RETARDANT_START = (1 / 3, 1 / 2)
"""Share of the full rate to start a drift retardant at; raise it load by load, never above the
label's maximum. Common practice, no source."""

_POLYACRYLAMIDE_LASTS_MIN = 60.0


def retardant_left(adjuvant: Adjuvant, recirculated_min: float) -> float:
    """Return the share of a drift retardant's effect left after recirculating through the pump.

    Polyacrylamide shears: in a straight line to nothing within an hour. Others keep their effect.
    """
    if adjuvant is Adjuvant.POLYACRYLAMIDE:
        return float(np.clip(1.0 - recirculated_min / _POLYACRYLAMIDE_LASTS_MIN, 0.0, 1.0))
    return 0.0 if adjuvant is Adjuvant.NONE else 1.0
