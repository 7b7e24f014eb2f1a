"""Rules on the equipment, on what goes in the tank, on where the wind blows, and on papers."""

from typing import Annotated, Literal

from pydantic import Field

from watcher.farm.base import FarmModel, Name, Words
from watcher.farm.droplets import Droplets
from watcher.farm.origin import Force
from watcher.farm.rules.base import Day, OfSprayers, RuleBase
from watcher.units import Carrier, Kind, Pressure, SmallLength, Written


class DropletRange(OfSprayers):
    """The finest and coarsest droplet classes allowed."""

    kind: Literal["droplets"]
    finest: Droplets | None = None
    """No finer than this."""
    coarsest: Droplets | None = None
    """No coarser than this."""
    standard: Literal["S572", "ISO 25358", "S641"] = "S572"
    """The standard of the classes: S572 or ISO 25358 from the ground, S641 from the air."""


class BoomHeightRule(OfSprayers):
    """The highest boom."""

    kind: Literal["boom height"]
    most: SmallLength
    """No higher above the canopy or target than this. [m]"""


class SpeedRule(OfSprayers):
    """The fastest forward speed."""

    kind: Literal["speed"]
    most: Annotated[float, Written(Kind.SPEED, 0.2, 12)]
    """No faster than this. [m/s]"""


class CarrierRule(OfSprayers):
    """The least, or the most, spray volume on the ground."""

    kind: Literal["carrier"]
    least: Carrier | None = None
    """No less than this. [L/ha]"""
    most: Carrier | None = None
    """No more than this. [L/ha]"""


class ListedNozzle(FarmModel):
    """A nozzle of a list outside the label, with the pressures it is listed for."""

    name: Words
    """Its name on the list, as the setup gives it under listed_nozzle."""
    least: Pressure | None = None
    """Lowest pressure it is listed for. [Pa]"""
    most: Pressure | None = None
    """Highest pressure it is listed for. [Pa]"""


class NozzleRule(OfSprayers):
    """Only nozzles of a list, at the pressures listed there."""

    kind: Literal["nozzles"]
    nozzles: Annotated[tuple[ListedNozzle, ...], Field(min_length=1)]
    """Those of the list you have."""
    seen_on: Day
    """The day the list was looked up."""


class AdditiveRule(OfSprayers):
    """Something that must, or must not, go in every load."""

    kind: Literal["additive"]
    additive: Words
    """What it is, as the setup's additives name it."""
    needed: Literal["required", "barred"] = "required"
    """Whether it must be in the tank, or must not."""
    rate: Words | None = None
    """How much of it, in the label's words."""


class PointsRule(RuleBase):
    """Runoff points a field must hold."""

    kind: Literal["points"]
    required: Annotated[int, Field(ge=0, le=9, strict=True)]
    """How many; the field says how many it holds."""
    force: Force = Force.CONDITION


class BulletinRule(RuleBase):
    """A bulletin that must be looked up before spraying."""

    kind: Literal["bulletin"]
    looked_up_on: Day | None = None
    """When it was looked up last."""
    good_for_days: Annotated[int, Field(ge=1, le=400, strict=True)] = 183
    """For how many days it is good after that."""
    force: Force = Force.CONDITION


class DirectionBan(RuleBase):
    """No wind that blows towards certain neighbours, however far the spray would go."""

    kind: Literal["direction"]
    towards: Annotated[tuple[Name, ...], Field(min_length=1)]
    """Kinds of neighbours it protects, as the neighbours give them under kinds."""
    nearness: Literal["adjacent"] | Annotated[float, Written(Kind.LENGTH, 0, 5000)] = "adjacent"
    """Those you marked as adjacent, or all within a distance. [m]"""


EquipmentRule = (
    DropletRange
    | BoomHeightRule
    | SpeedRule
    | CarrierRule
    | NozzleRule
    | AdditiveRule
    | PointsRule
    | BulletinRule
    | DirectionBan
)
