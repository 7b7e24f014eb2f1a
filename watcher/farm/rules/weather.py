"""Rules on the weather: wind, air, inversion, rain and soil."""

from typing import Annotated, Literal

from watcher.farm.base import Share, Words
from watcher.farm.origin import Force
from watcher.farm.rules.base import OfSprayers, RuleBase
from watcher.units import Kind, Percent, Speed, Temperature, TemperatureStep, Written

UNSTATED: Literal["unstated"] = "unstated"
Unstated = Literal["unstated"]
Height = Annotated[float, Written(Kind.LENGTH, 0.2, 50)]
RainAmount = Annotated[float, Written(Kind.RAIN, 0, 500)]


class WindRule(OfSprayers):
    """A bound on the wind: number, height, averaging, gusts and place."""

    kind: Literal["wind"]
    low: Speed | None = None
    """The wind must not be under this."""
    high: Speed | None = None
    """The wind must not be over this."""
    height: Literal["boom", "unstated"] | Height = UNSTATED
    """Height above the ground the bound is meant at. Unstated, the high bound is judged at 10 m and
    the low one at the boom, the stricter of what it may mean. [m]"""
    averaging: Unstated | Annotated[float, Written(Kind.DURATION, 1, 3600)] = UNSTATED
    """Time the wind is averaged over. Unstated, the mean of ten minutes is taken. [s]"""
    gusts: Literal["counted", "not counted", "unstated"] = UNSTATED
    """Whether a gust over the high bound breaks it; unstated, it does."""
    place: Literal["site", "upwind edge", "unstated"] = UNSTATED
    """Where it is to be measured."""
    margin: Share | None = None
    """Room that counts as near, as a share of the bound; judging.margin when not given."""


class CalmDutyRule(RuleBase):
    """Below this wind the operator must find that there is no inversion or stable air."""

    kind: Literal["calm duty"]
    below: Speed
    """Wind at the boom below which the operator must look."""
    force: Force = Force.CONDITION


class TemperatureRule(RuleBase):
    """A bound on the air's temperature at the time."""

    kind: Literal["temperature"]
    low: Temperature | None = None
    """The air must not be colder than this."""
    high: Temperature | None = None
    """The air must not be warmer than this."""


class DayHighRule(RuleBase):
    """A bound on the day's highest temperature, as foretold or measured: it closes a whole day."""

    kind: Literal["day high"]
    high: Temperature
    """The day's high must not be over this."""
    inclusive: bool = True
    """Whether the bound itself is still allowed."""
    day: Literal["same day", "next day"] = "same day"
    """Which local day's high counts."""
    whole_degrees: bool = False
    """Whether the high counts in whole degrees Fahrenheit, as a weather service writes it."""
    acreage_share: Percent | None = None
    """In place of a ban, the share of the untreated ground that may be sprayed that day. [%]"""
    source: Words | None = None
    """The forecast the text names; any of the farm's when not given."""


class HumidityRule(RuleBase):
    """A bound on the relative humidity."""

    kind: Literal["humidity"]
    low: Percent | None = None
    """The air must not be drier than this."""
    high: Percent | None = None
    """The air must not be damper than this."""


class DeltaTRule(RuleBase):
    """A bound on Delta T, dry bulb less wet bulb."""

    kind: Literal["Delta T"]
    low: TemperatureStep | None = None
    """Delta T must not be under this."""
    high: TemperatureStep | None = None
    """Delta T must not be over this."""


class InversionBan(RuleBase):
    """No spraying in an inversion: banned, to be looked for, or deemed at certain hours."""

    kind: Literal["inversion"]
    effect: Literal["ban", "duty", "deemed hours"] = "ban"
    """Banned where the watch finds one; to be looked for by the operator; or deemed to be there
    near sunset and sunrise unless shown otherwise."""
    before_sunset: Annotated[float, Written(Kind.DURATION, 0, 6 * 3600)] | None = None
    """For deemed hours: from so long before sunset. [s]"""
    after_sunrise: Annotated[float, Written(Kind.DURATION, 0, 6 * 3600)] | None = None
    """For deemed hours: to so long after sunrise. [s]"""


class RainNowRule(RuleBase):
    """A bound on rain that falls during treatment."""

    kind: Literal["rain now"]
    most: Annotated[float, Written(Kind.RAIN_RATE, 0, 100)]
    """Rain must not fall faster than this. [mm/h]"""


class RainAheadRule(RuleBase):
    """A bound on rain foretold for some hours after the job."""

    kind: Literal["rain ahead"]
    within: Annotated[float, Written(Kind.DURATION, 600, 7 * 86_400)]
    """How long after the end of the job it counts. [s]"""
    amount: RainAmount | None = None
    """Rain must not come to more than this. Where the text says "runoff-producing" and names no
    amount, yours: without it nothing is decided. [mm]"""
    chance: Percent | None = None
    """The chance of rain in any hour of it must not be over this. [%]"""
    source: Words | None = None
    """The forecast the text names; any of the farm's when not given."""


class SoilRule(RuleBase):
    """A bound on the soil's state, where it is bound to rain ahead."""

    kind: Literal["soil"]
    not_at: Literal["field capacity", "saturated", "frozen"]
    """State of the soil in which nothing may be sprayed."""
    with_rain_within: Annotated[float, Written(Kind.DURATION, 600, 7 * 86_400)] | None = None
    """Only where rain is foretold within this long; always when not given. [s]"""


WeatherRule = (
    WindRule
    | CalmDutyRule
    | TemperatureRule
    | DayHighRule
    | HumidityRule
    | DeltaTRule
    | InversionBan
    | RainNowRule
    | RainAheadRule
    | SoilRule
)
