"""The grower's world as frozen models: what the farm file says; text with units in, SI inside."""

from datetime import date, time
from enum import IntEnum, StrEnum
from typing import Annotated, Any, Generic, Literal, TypeVar, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from watcher.farm.feeds import Source
from watcher.farm.products import EppoCode, Product, RecordRule
from watcher.farm.told import Name, Share, Told, Words
from watcher.units import (
    Angle,
    Carrier,
    Duration,
    Kind,
    Percent,
    Pressure,
    SmallLength,
    Speed,
    Temperature,
    TemperatureStep,
    Volume,
    Written,
)


class Origin(StrEnum):
    """Where a bound comes from. A label's or law's bound may be tightened, never loosened."""

    LABEL = "label"
    LAW = "law"
    OWN = "own"


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


class DropletClass(IntEnum):
    """Droplet classes of ASABE S572 / ISO 25358, fine to coarse, so that < means finer."""

    EXTREMELY_FINE = 0
    VERY_FINE = 1
    FINE = 2
    MEDIUM = 3
    COARSE = 4
    VERY_COARSE = 5
    EXTREMELY_COARSE = 6
    ULTRA_COARSE = 7

    @property
    def words(self) -> str:
        """Return the class as the trade writes it: ``"very coarse"``."""
        return self.name.lower().replace("_", " ")


def _droplet_class(value: object) -> object:
    if isinstance(value, DropletClass):
        return value
    by_words = {c.words: c for c in DropletClass}
    if not isinstance(value, str) or value not in by_words:
        classes = ", ".join(f"'{words}'" for words in by_words)
        raise PydanticCustomError("enum", "not a droplet class", {"expected": classes})
    return by_words[value]


Droplets = Annotated[
    DropletClass,
    BeforeValidator(_droplet_class),
    WithJsonSchema({"type": "string", "enum": [c.words for c in DropletClass]}),
]


class NozzleKind(StrEnum):
    """How the nozzle makes its drops."""

    FLAT_FAN = "flat fan"
    PRE_ORIFICE = "pre-orifice"
    TURBULENCE_CHAMBER = "turbulence chamber"
    AIR_INDUCTION = "air induction"


class Adjuvant(StrEnum):
    """Drift retardant in the tank. Polyacrylamide shears in the pump within about an hour."""

    NONE = "none"
    POLYACRYLAMIDE = "polyacrylamide"
    GUAR = "guar"


# Codes of ISO 10625.
NozzleSize = Literal[
    "0075", "01", "015", "02", "025", "03", "035", "04", "05", "06", "08", "10", "15", "20"
]  # fmt: skip

# TOML has dates and times of its own; text or a number in their place is a slip.
Day = Annotated[date, Field(strict=True)]
Clock = Annotated[time, Field(strict=True)]

T = TypeVar("T")


class Bounds(Told, Generic[T]):
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
    """Room that counts as near, as a share of the limit's scale; judging.margin when not told."""

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


class InversionRule(Told):
    """The worst inversion finding that still leaves the field open (then marginal at best)."""

    tolerate: Literal["none", "possible"] = "possible"
    origin: Origin = Origin.OWN


class DropletRule(Told):
    """The finest droplet class allowed."""

    low: Droplets
    origin: Origin = Origin.OWN


class Downwind(StrEnum):
    """What wind towards a neighbour is allowed."""

    ANY = "any wind in the window"
    CALM = "calm wind only"
    NEVER = "never"


class NeighbourRule(Told):
    """Wind-direction rule towards neighbours within reach.

    Beside a very susceptible neighbour only calm wind is allowed, whichever way it blows.
    """

    susceptible: Downwind = Downwind.CALM
    """Wind allowed towards a susceptible neighbour."""
    very_susceptible: Downwind = Downwind.NEVER
    """Wind allowed towards a very susceptible neighbour."""
    origin: Origin = Origin.OWN


class OwnLimits(Told):
    """Limits a field may have of its own; they may only tighten its window's."""

    wind: Bounds[Speed] | None = None
    """Sustained wind at boom height."""
    gust: Bounds[Speed] | None = None
    """Gust at boom height; a window's own wind and judging.gust_over_wind when not told."""
    temperature: Bounds[Temperature] | None = None
    """Air temperature."""
    delta_t: Bounds[TemperatureStep] | None = None
    """Delta T, dry bulb less wet bulb: how fast drops dry up."""
    humidity: Bounds[Percent] | None = None
    """Relative humidity."""
    rain_free_before: Bounds[Duration] | None = None
    """Time without rain before the job starts; a low bound only."""
    rain_free_after: Bounds[Duration] | None = None
    """Time without rain after the end of the job; a low bound only."""
    after_sunrise: Bounds[Duration] | None = None
    """Time since sunrise; a low bound only."""
    before_sunset: Bounds[Duration] | None = None
    """Time left until sunset; a low bound only."""
    droplets: DropletRule | None = None


class Window(OwnLimits):
    """A spray window: the named set of limits a product, a law and the grower put on the hour."""

    wind: Bounds[Speed]
    """Sustained wind at boom height."""
    inversion: InversionRule = InversionRule()
    droplets_in_marginal_wind: DropletRule = DropletRule(low=DropletClass.COARSE)
    """The finest droplet class allowed in the upper part of the wind's band."""
    neighbours: NeighbourRule = NeighbourRule()


class Sprayer(Told):
    """A ground-boom sprayer."""

    boom_width: Annotated[float, Written(Kind.LENGTH, 0.5, 70)]
    """Width the boom sprays. [m]"""
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
    """Between nozzles on the boom; 20 in when not told, the usual spacing of US booms. [m]"""


class Setup(Told):
    """One way a sprayer may be rigged."""

    sprayer: str
    """Name of one of the sprayers."""
    nozzle: NozzleKind
    droplets: Droplets
    """Droplet class at this pressure, from the nozzle's own chart."""
    carrier: Carrier
    """Spray volume on the ground. [L/ha]"""
    drift_reduction: Percent | None = None
    """Share of the reference drift that is avoided; by nozzle kind when not told. [%]"""
    adjuvant: Adjuvant = Adjuvant.NONE
    nozzle_size: NozzleSize | None = None
    """ISO 10625 size code, "04"; with it, rate and pressure are checked against each other."""
    pressure: Pressure | None = None
    """Pressure at the nozzle. [Pa]"""


class FieldPlan(Told):
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
    done_for: Duration = 7 * 86_400.0
    """How long the field counts as done after a finished job. [s]"""
    products: tuple[str, ...] = ()
    """Names of the products it is sprayed with, for its record."""
    pests: Words | None = None
    """What is to be killed, in the grower's words, for its record; its target when not told."""
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


class Neighbour(Told):
    """What lies beside the fields. Boundary: the feature of the same id in the GeoJSON file."""

    grows: Words
    """What grows or lives there, in the grower's words; used in warnings."""
    susceptibility: Susceptibility
    no_spray_distance: Annotated[float, Written(Kind.LENGTH, 0, 2000)] = 0.0
    """The label's downwind no-spray distance towards this neighbour. [m]"""
    tolerable_deposit: Percent | None = None
    """Share of the field rate the neighbour stands; by susceptibility when not told. [%]"""


class QuietHours(Told):
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


class Recipient(Told):
    """Who is told. The push URL itself is a secret setting under the recipient's name."""

    hears: tuple[Topic, ...] = (Topic.BRIEF, Topic.JOB, Topic.SOURCES)
    """What they are told of."""
    quiet_hours: QuietHours | None = None
    form: Literal["push", "mail", "sms"] = "push"
    """How what is said is worded: long or short."""
    backup: Name | None = None
    """Another recipient, who is told when this one does not acknowledge a mid-job alert."""
    backup_after: Annotated[float, Written(Kind.DURATION, 60, 3600)] = 300.0
    """How long a mid-job alert may stay unacknowledged before the backup is told. [s]"""
    most_an_hour: Annotated[int, Field(ge=1, le=60)] = 6
    """Messages that can wait are not sent more often than this; mid-job alerts always are."""


class Alerting(Told):
    """How mid-job alerts are told."""

    all_clear_after: Annotated[float, Written(Kind.DURATION, 60, 3600)] = 600.0
    """How long a limit must be back within its bound before that is told. [s]"""
    again_after: Annotated[float, Written(Kind.DURATION, 300, 7200)] = 1800.0
    """How long until an alert that still stands, and nobody acknowledged, is told again. [s]"""


class Brief(Told):
    """When the brief is sent."""

    morning: Clock = time(5, 30)
    """When the day's brief is sent, on the farm's clock."""
    evening: Clock | None = None
    """When the evening brief is sent; none when not told."""


class ControlLoss(Told):
    """Loss of weed control a field stands, by weed pressure. [%]"""

    clean: Percent = 25.0
    """On a clean field. [%]"""
    moderate: Percent = 12.0
    """On a field of moderate weed pressure. [%]"""
    weedy: Percent = 6.0
    """On a weedy field. [%]"""


class TolerableDeposit(Told):
    """Share of the field rate a neighbour stands, by susceptibility. [%]

    Common practice, no source: visible harm on susceptible broadleaf crops is told of from about
    a thousandth of the field rate.
    """

    susceptible: Percent = 0.1
    """Stood by a susceptible neighbour. [%]"""
    very_susceptible: Percent = 0.01
    """Stood by a very susceptible neighbour. [%]"""


class Judging(Told):
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
    tolerable_deposit: TolerableDeposit = TolerableDeposit()
    horizon: Annotated[float, Written(Kind.DURATION, 6 * 3600, 10 * 86_400)] = 48 * 3600.0
    """How far ahead the hours a field could be sprayed in are counted. [s]"""


class FarmBasics(Told):
    """The farm as a whole."""

    name: Words
    """What the farm is called."""
    time_zone: Words
    """IANA name of the time zone the fields lie in, such as America/Chicago."""
    units: Literal["us", "metric"]
    """Units shown; both are read."""
    fields_file: Words = "fields.geojson"
    """Boundaries (GeoJSON, RFC 7946), relative to the farm file."""
    applicator: Words | None = None
    """The certified applicator who sprays or supervises, for the records."""
    certificate: Words | None = None
    """Number of their certificate or licence."""
    record_rules: tuple[RecordRule, ...] = ("7 CFR 110", "EU 2023/564")
    """Rules the records are checked against before they are closed."""


class FarmFile(Told):
    """The whole farm file. Tables are keyed by the names used everywhere else."""

    farm: FarmBasics
    judging: Judging = Judging()
    brief: Brief = Brief()
    alerts: Alerting = Alerting()
    sprayers: dict[Name, Sprayer]
    setups: dict[Name, Setup]
    windows: dict[Name, Window]
    fields: dict[Name, FieldPlan]
    neighbours: dict[Name, Neighbour] = Field(default_factory=dict)
    products: dict[Name, Product] = Field(default_factory=dict)
    sources: dict[Name, Source]
    recipients: dict[Name, Recipient] = Field(default_factory=dict)
