"""The grower's world as frozen models: what the farm file says; text with units in, SI inside."""

from datetime import time
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any, Generic, Literal, TypeVar, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema, create_model
from pydantic_core import PydanticCustomError

from watcher.farm.adjuvant import Adjuvant as Adjuvant  # noqa: PLC0414
from watcher.farm.base import FarmModel, Name, Share, Words
from watcher.farm.control_loss import LossEstimate, LossOf
from watcher.farm.droplets import DropletClass as DropletClass  # noqa: PLC0414
from watcher.farm.droplets import Droplets as Droplets  # noqa: PLC0414
from watcher.farm.feeds import Source
from watcher.farm.origin import Origin as Origin  # noqa: PLC0414
from watcher.farm.planning import Clock, Driver, Planning
from watcher.farm.products import EppoCode, Product, RecordRule
from watcher.farm.rules.base import Day
from watcher.farm.rules.buffers import Buffer
from watcher.farm.rules.kinds import Rule
from watcher.farm.rules.presets import PresetName
from watcher.farm.sprayer_kind import GroundSprayer
from watcher.farm.sprayer_kind import SprayerKind as SprayerKind  # noqa: PLC0414
from watcher.i18n.language import SOURCE, codes
from watcher.limits.catalogue import IN_WINDOWS, WRITTEN
from watcher.units import (
    Angle,
    Carrier,
    Duration,
    Kind,
    Percent,
    Pressure,
    SmallLength,
    Speed,
    Volume,
    Written,
)


class WeedPressure(StrEnum):
    """How many weeds stand in the field: decides how much loss of control it tolerates."""

    CLEAN = "clean"
    MODERATE = "moderate"
    WEEDY = "weedy"


class Weeds(StrEnum):
    """What is to be killed."""

    GRASSES = "grasses"
    BROADLEAVES = "broadleaves"
    MIXED = "mixed"


class Susceptibility(StrEnum):
    """How much harm drift does a neighbour."""

    TOLERANT = "tolerant"
    SUSCEPTIBLE = "susceptible"
    VERY_SUSCEPTIBLE = "very susceptible"


def _language(value: Any) -> str:
    if value not in codes():
        choices = ", ".join(f"'{code}'" for code in codes())
        raise PydanticCustomError("enum", "not a language", {"expected": choices})
    return str(value)


LanguageCode = Annotated[
    str, BeforeValidator(_language), WithJsonSchema({"type": "string", "enum": list(codes())})
]


class NozzleKind(StrEnum):
    """How the nozzle makes its drops."""

    FLAT_FAN = "flat fan"
    PRE_ORIFICE = "pre-orifice"
    TURBULENCE_CHAMBER = "turbulence chamber"
    AIR_INDUCTION = "air induction"
    HOLLOW_CONE = "hollow cone"


# Codes of ISO 10625.
NozzleSize = Literal[
    "0075", "01", "015", "02", "025", "03", "035", "04", "05", "06", "08", "10", "15", "20"
]  # fmt: skip

T = TypeVar("T")


class Bounds(FarmModel, Generic[T]):
    """One limit: low and high bound, where they come from, and how much room counts as near."""

    low: T | None = None
    """The value must not be under this."""
    high: T | None = None
    """The value must not be over this."""
    origin: Origin = Origin.OWN
    """Where the bounds come from."""
    low_origin: Origin | None = None
    """Where the low bound comes from, when that is not where the high one comes from."""
    margin: Share | None = None
    """Room that counts as near, as a share of the limit's scale; judging.margin when not given."""

    @classmethod
    def model_parametrized_name(cls, params: tuple[Any, ...]) -> str:
        """Name the bounds of a quantity for editors: ``"SpeedBounds"``."""
        written = [m.kind.name for m in get_args(params[0])[1:] if isinstance(m, Written)]
        return "".join(written).title().replace("_", "") + cls.__name__

    def origin_of(self, side: Literal["low", "high"]) -> Origin:
        """Return where one of the two bounds comes from."""
        if side == "low" and self.low_origin is not None:
            return self.low_origin
        return self.origin


class InversionRule(FarmModel):
    """The worst inversion finding that still leaves the field open (then marginal at best)."""

    tolerate: Literal["none", "possible"] = "possible"
    origin: Origin = Origin.OWN


class DropletRule(FarmModel):
    """The finest droplet class allowed."""

    low: Droplets
    origin: Origin = Origin.OWN


class Downwind(StrEnum):
    """What wind towards a neighbour is allowed."""

    ANY = "any wind in the window"
    CALM = "calm wind only"
    NEVER = "never"


class NeighbourRule(FarmModel):
    """Wind-direction rule towards neighbours within reach.

    Beside a very susceptible neighbour only calm wind is allowed, whichever way it blows.
    """

    susceptible: Downwind = Downwind.CALM
    """Wind allowed towards a susceptible neighbour."""
    very_susceptible: Downwind = Downwind.NEVER
    """Wind allowed towards a very susceptible neighbour."""
    origin: Origin = Origin.OWN

    def origin_of(self, key: Literal["susceptible", "very_susceptible"]) -> Origin:
        """Return where what is allowed comes from: what the farm file leaves out is ours."""
        if self.model_fields_set & {key, "origin"}:
            return self.origin
        return Origin.DEFAULT


if TYPE_CHECKING:

    class WindowBounds(FarmModel):
        """Bounds by the keys of the catalogue of limits."""

        def __getattr__(self, key: str) -> Bounds[float] | None: ...

else:
    WindowBounds = create_model(
        "WindowBounds",
        __base__=FarmModel,
        **{
            key: (
                Bounds[Annotated[float, WRITTEN[key]]] | None,
                Field(default=None, description=entry.description),
            )
            for key, entry in IN_WINDOWS.items()
        },
    )


class OwnLimits(WindowBounds):
    """Limits a field may have of its own; they may only tighten its window's."""

    droplets: DropletRule | None = None


class Window(OwnLimits):
    """A spray window: the named set of limits a product, a law and the grower put on the hour."""

    wind: Bounds[Speed] = Bounds[Speed]()
    """Sustained wind at boom height; it may be left out where rules bound the wind."""
    inversion: InversionRule = InversionRule(origin=Origin.DEFAULT)
    droplets_in_marginal_wind: DropletRule = DropletRule(
        low=DropletClass.COARSE, origin=Origin.DEFAULT
    )
    """The finest droplet class allowed in the upper part of the wind's band."""
    neighbours: NeighbourRule = NeighbourRule()
    rules: tuple[Rule, ...] = ()
    """Further rules, of the law or your own, beside those of the field's products."""
    buffers: tuple[Buffer, ...] = ()
    """What law or you keep unsprayed towards neighbours."""


TIPS_BY_HAND_S = 30 * 60.0
"""For changing all tips that the bodies do not carry (common practice, no source)."""


class Sprayer(FarmModel):
    """A sprayer on the ground."""

    kind: GroundSprayer = SprayerKind.BOOM
    """How it carries the spray over the ground; drift is estimated for booms only."""
    boom_width: Annotated[float, Written(Kind.LENGTH, 0.5, 70)]
    """Width that one pass sprays. [m]"""
    boom_height: SmallLength
    """Nozzle tip above the top of the canopy or target. [m]"""
    speed: Annotated[float, Written(Kind.SPEED, 0.2, 12)]
    """Forward speed while spraying. [m/s]"""
    tank: Volume
    """What the tank holds. [L]"""
    field_efficiency: Annotated[float, Written(Kind.PERCENT, 5, 100)]
    """Share of the time in the field spent spraying: turns and overlap take the rest. [%]"""
    fill_time: Annotated[float, Written(Kind.DURATION, 0, 4 * 3600)]
    """From leaving the row to being back in it, full. [s]"""
    nozzle_spacing: SmallLength = 0.508
    """Between nozzles on the boom; 20 in when not given, the usual spacing of US booms. [m]"""
    tips: tuple[str, ...] = ()
    """Names of the setups whose tips its nozzle bodies carry: these are turned, not changed."""
    tips_turned_in: Annotated[float, Written(Kind.DURATION, 0, 2 * 3600)] = 300.0
    """How long turning all its bodies to other tips takes; 5 min when not given. [s]"""
    lowest_boom: SmallLength | None = None
    """How low the boom may be carried with its fans still meeting. [m]"""
    slowest: Annotated[float, Written(Kind.SPEED, 0.2, 12)] | None = None
    """How slow it may go with its rate still right. [m/s]"""

    def tips_changed_in(self, setup: str) -> float:
        """Return how long it stops to have the tips of a setup on that has others on. [s]"""
        return self.tips_turned_in if setup in self.tips else TIPS_BY_HAND_S


class Setup(FarmModel):
    """One way a sprayer may be rigged."""

    sprayer: str
    """Name of one of the sprayers."""
    nozzle: NozzleKind
    droplets: Droplets
    """Droplet class at this pressure, from the nozzle's own chart."""
    carrier: Carrier
    """Spray volume on the ground. [L/ha]"""
    drift_reduction: Percent | None = None
    """Tested share of the reference drift that is avoided; by droplet class when not given. [%]"""
    adjuvant: Adjuvant = Adjuvant.NONE
    nozzle_size: NozzleSize | None = None
    """ISO 10625 size code, "04"; with it, rate and pressure are checked against each other."""
    pressure: Pressure | None = None
    """Pressure at the nozzle. [Pa]"""
    listed_nozzle: Words | None = None
    """The nozzle's name on lists that labels ask for."""
    measures: tuple[Words, ...] = ()
    """What it brings that a buffer's reductions may ask for, in their words."""
    drift_class: Percent | None = None
    """Its class in the register the buffers go by, looked up there and never by its kind. [%]"""
    additives: tuple[Words, ...] = ()
    """What goes in every load that labels ask for or bar, in their words."""


class FieldPlan(FarmModel):
    """One field to spray. Its boundary is the feature of the same id in the GeoJSON file."""

    crop: Words
    """What grows here, in the grower's words."""
    weeds: WeedPressure
    target: Weeds = Weeds.MIXED
    window: str
    """Name of one of the windows."""
    limits: OwnLimits = OwnLimits()
    setups: tuple[str, ...] = ()
    """Setups that may be used here; every setup of the farm when empty."""
    canopy: Annotated[float, Written(Kind.LENGTH, 0.0, 6.0)] = 0.12
    """Height of the crop canopy, for the wind profile. The 0.12 m default is FAO-56's grass. [m]"""
    latest: Day | None = None
    """Last day the field should be sprayed."""
    may_be_split: bool = False
    """Whether half of it may be planned where the whole is not likely enough to hold."""
    done_for: Duration = 7 * 86_400.0
    """How long the field counts as done after a finished job. [s]"""
    done_on: Day | None = None
    """Day it was sprayed without a job here: it counts as done from then on."""
    left_out: bool = False
    """Whether it is neither ranked nor planned until that is taken back."""
    products: tuple[str, ...] = ()
    """Names of the products it is sprayed with, for its record."""
    pests: Words | None = None
    """What is to be killed, in the grower's words, for its record; its target when not given."""
    eppo: EppoCode | None = None
    """The crop's code in the EPPO database."""
    location: Words | None = None
    """Where it lies, as a record must say it: county, township and section, or an address."""
    parcel: Words | None = None
    """Reference of its parcel in an official register."""
    client: Words | None = None
    """Whom it is sprayed for, when that is somebody else."""
    client_address: Words | None = None
    """Where they live."""
    next_crop: Words | None = None
    """What is to grow here next season: the crop once this season is archived."""
    planted: Day | None = None
    """When the crop was planted."""
    stages: dict[Words, Day] = Field(default_factory=dict)
    """Stages of the crop by the day they were first seen."""
    stages_on: Day | None = None
    """When you last looked at the stage: what was not seen then is not there for 3 more days."""
    points: Annotated[int, Field(ge=0, strict=True)] | None = None
    """Runoff points the field holds this season."""
    land: tuple[Words, ...] = ()
    """What the field has that a buffer's reductions may ask for, in their words."""
    soil: Literal["dry", "moist", "field capacity", "saturated", "frozen"] | None = None
    """State of the soil as you found it."""
    soil_on: Day | None = None
    """When you looked at the soil: it counts for that day and the next."""


class Neighbour(FarmModel):
    """What lies beside the fields. Boundary: the feature of the same id in the GeoJSON file."""

    grows: Words
    """What grows or lives there, in the grower's words; used in warnings."""
    susceptibility: Susceptibility
    no_spray_distance: Annotated[float, Written(Kind.LENGTH, 0, 2000)] = 0.0
    """The label's downwind no-spray distance towards this neighbour. [m]"""
    tolerable_deposit: Percent | None = None
    """Share of the field rate the neighbour stands; by susceptibility when not given. [%]"""
    kinds: tuple[Name, ...] = ()
    """What it is to the labels' and laws' buffers and bans, in their words."""
    adjacent: bool | None = None
    """Whether it is adjacent as the labels mean it; while you do not say, it counts as adjacent."""
    between: tuple[Words, ...] | None = None
    """What lies between it and the fields, in the words of the buffers."""
    land: tuple[Words, ...] = ()
    """What it is that a buffer's reductions may ask for, in their words."""
    water_width: Annotated[float, Written(Kind.LENGTH, 0, 2000)] | None = None
    """Width of the water, for neighbours that are water. [m]"""


class QuietHours(FarmModel):
    """Nothing but mid-job alerts between these local times; may run across midnight."""

    start: Clock
    """When they start, on the farm's clock."""
    end: Clock
    """When they end; the next day when not after the start."""


class Topic(StrEnum):
    """What a recipient may hear of."""

    BRIEF = "brief"
    JOB = "job"
    SOURCES = "sources"


class Recipient(FarmModel):
    """Who is alerted. The push URL itself is a secret, kept under the recipient's name."""

    hears: tuple[Topic, ...] = (Topic.BRIEF, Topic.JOB, Topic.SOURCES)
    """What they hear of."""
    quiet_hours: QuietHours | None = None
    form: Literal["push", "mail", "sms"] = "push"
    """How what is said is worded: long or short."""
    language: LanguageCode | None = None
    """The language they are written to in; the farm's when not given."""
    backup: Name | None = None
    """Another recipient, who is alerted when this one does not acknowledge a mid-job alert."""
    backup_after: Annotated[float, Written(Kind.DURATION, 60, 3600)] = 300.0
    """How long a mid-job alert may stay unacknowledged before the backup is alerted. [s]"""
    most_an_hour: Annotated[int, Field(ge=1, le=60)] = 6
    """Messages that can wait are not sent more often than this; mid-job alerts always are."""


class Warn(StrEnum):
    """How early a job is warned that its wind may pass the bound: earlier is falsely more often."""

    EARLIER = "earlier"
    NORMAL = "normal"
    FEWER = "fewer"


class Alerting(FarmModel):
    """How mid-job alerts are sent."""

    warn: Warn = Warn.NORMAL
    """From which chance of passing the wind's bound a warning is sent."""

    all_clear_after: Annotated[float, Written(Kind.DURATION, 60, 3600)] = 600.0
    """How long a limit must be back within its bound before that is said. [s]"""
    again_after: Annotated[float, Written(Kind.DURATION, 300, 7200)] = 1800.0
    """How long until an alert that still stands, and nobody acknowledged, is sent again. [s]"""


class Brief(FarmModel):
    """When the brief is sent."""

    morning: Clock = time(5, 30)
    """When the day's brief is sent, on the farm's clock."""
    evening: Clock | None = None
    """When the evening brief is sent; none when not given."""


class ControlLoss(FarmModel):
    """Loss of weed control a field stands, by weed pressure. [%]"""

    clean: Percent = 25.0
    """On a clean field. [%]"""
    moderate: Percent = 12.0
    """On a field of moderate weed pressure. [%]"""
    weedy: Percent = 6.0
    """On a weedy field. [%]"""


class TolerableDeposit(FarmModel):
    """Share of the field rate a neighbour stands, by susceptibility. [%]

    Common practice, no source: visible harm on susceptible broadleaf crops is reported from about
    a thousandth of the field rate.
    """

    susceptible: Percent = 0.1
    """Stood by a susceptible neighbour. [%]"""
    very_susceptible: Percent = 0.01
    """Stood by a very susceptible neighbour. [%]"""


class Judging(FarmModel):
    """Numbers of the judgement a farm may change."""

    margin: Share = 0.15
    """Room that counts as near, as a share of a limit's scale."""
    calm_share: Annotated[float, Field(gt=0, le=1)] = 0.6
    """Upper end of the calm band as a share of the wind's high bound."""
    gust_over_wind: Annotated[float, Written(Kind.SPEED, 0, 10)] = 2.2352
    """Gust bound above the wind's high bound where the window names none: 5 mph. [m/s]"""
    reach: Annotated[float, Written(Kind.LENGTH, 10, 5000)] = 100.0
    """How far a neighbour counts as being downwind. [m]"""
    direction_spread: Annotated[float, Written(Kind.ANGLE, 0, 90)] = 15.0
    """Direction's standard deviation where a source gives none. [deg]"""
    no_direction_above: Angle = 30.0
    """A wider spread has no trustworthy direction: every neighbour in reach is downwind. [deg]"""
    rain_counts_from: Annotated[float, Written(Kind.RAIN_RATE, 0, 2)] = 0.1
    """Weaker than this is dew or drizzle noise. [mm/h]"""
    control_loss: ControlLoss = ControlLoss()
    loss_by_mode: dict[LossOf, LossEstimate] = Field(default_factory=dict)
    """What coarse drops lose of control, by what is sprayed; our estimates where not given."""
    tolerable_deposit: TolerableDeposit = TolerableDeposit()
    horizon: Annotated[float, Written(Kind.DURATION, 6 * 3600, 10 * 86_400)] = 48 * 3600.0
    """How far ahead the hours a field could be sprayed in are counted. [s]"""


class FarmBasics(FarmModel):
    """The farm as a whole."""

    name: Words
    """What the farm is called."""
    time_zone: Words
    """IANA name of the time zone the fields lie in, such as America/Chicago."""
    units: Literal["us", "metric"]
    """Units shown; both are read."""
    language: LanguageCode = SOURCE
    """The language of alerts and records, by its two letters: en, es."""
    fields_file: Words = "fields.geojson"
    """Boundaries (GeoJSON, RFC 7946), relative to the farm file."""
    applicator: Words | None = None
    """The certified applicator who sprays or supervises, for the records."""
    certificate: Words | None = None
    """Number of their certificate or licence."""
    presets: tuple[PresetName, ...] = ()
    """Public laws that hold for every field, each as of its date; none unless you choose it."""
    record_rules: tuple[RecordRule, ...] = ()
    """Rules the records are checked against before they are closed."""


class FarmFile(FarmModel):
    """The whole farm file. Tables are keyed by the names used everywhere else."""

    farm: FarmBasics
    judging: Judging = Judging()
    brief: Brief = Brief()
    planning: Planning = Planning()
    alerts: Alerting = Alerting()
    sprayers: dict[Name, Sprayer]
    drivers: dict[Name, Driver] = Field(default_factory=dict)
    setups: dict[Name, Setup]
    windows: dict[Name, Window]
    fields: dict[Name, FieldPlan]
    neighbours: dict[Name, Neighbour] = Field(default_factory=dict)
    products: dict[Name, Product] = Field(default_factory=dict)
    sources: dict[Name, Source]
    recipients: dict[Name, Recipient] = Field(default_factory=dict)
