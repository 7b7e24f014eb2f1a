"""The grower's world as frozen models: what the farm file says, in SI.

Text with units on the way in ("10 mph"), floats inside. Loading, cross-checks and error wording
live in ``watcher.farm.load``; shapes on the ground in ``watcher.farm.ground``.
"""

from datetime import date, time
from enum import IntEnum, StrEnum
from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from watcher.units import (
    Angle,
    Carrier,
    Duration,
    Length,
    Percent,
    Pressure,
    RainRate,
    SmallLength,
    Speed,
    Temperature,
    TemperatureStep,
    Volume,
)


class Told(BaseModel):
    """Something the grower told us: unknown keys are errors, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Origin(StrEnum):
    """Where a bound comes from. A label's or law's bound may be tightened, never loosened."""

    LABEL = "label"
    LAW = "law"
    OWN = "own"


class WeedPressure(StrEnum):
    CLEAN = "clean"
    MODERATE = "moderate"
    WEEDY = "weedy"


class Weeds(StrEnum):
    GRASSES = "grasses"
    BROADLEAVES = "broadleaves"
    MIXED = "mixed"


class Susceptibility(StrEnum):
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
    if value not in by_words:
        raise ValueError(f"not a droplet class; one of: {', '.join(by_words)}")
    return by_words[str(value)]


Droplets = Annotated[
    DropletClass,
    BeforeValidator(_droplet_class),
    WithJsonSchema({"type": "string", "enum": [c.words for c in DropletClass]}),
]


class NozzleKind(StrEnum):
    FLAT_FAN = "flat fan"
    PRE_ORIFICE = "pre-orifice"
    TURBULENCE_CHAMBER = "turbulence chamber"
    AIR_INDUCTION = "air induction"


class Adjuvant(StrEnum):
    """Drift retardant in the tank. Polyacrylamide shears in the pump within about an hour."""

    NONE = "none"
    POLYACRYLAMIDE = "polyacrylamide"
    GUAR = "guar"


T = TypeVar("T")


class Bounds(Told, Generic[T]):
    """One limit: low and high bound, where they come from, and how much room counts as near."""

    low: T | None = None
    high: T | None = None
    origin: Origin = Origin.OWN
    low_origin: Origin | None = None
    """Where the low bound comes from, when that is not where the high one comes from."""
    margin: Annotated[float, Field(ge=0, le=1)] | None = None

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
    very_susceptible: Downwind = Downwind.NEVER
    origin: Origin = Origin.OWN


class Window(Told):
    """A spray window: the named set of limits a product, a law and the grower put on the hour."""

    wind: Bounds[Speed]
    gust: Bounds[Speed] | None = None
    temperature: Bounds[Temperature] | None = None
    delta_t: Bounds[TemperatureStep] | None = None
    humidity: Bounds[Percent] | None = None
    inversion: InversionRule = InversionRule()
    rain_free_before: Bounds[Duration] | None = None
    rain_free_after: Bounds[Duration] | None = None
    after_sunrise: Bounds[Duration] | None = None
    before_sunset: Bounds[Duration] | None = None
    droplets: DropletRule | None = None
    droplets_in_marginal_wind: DropletRule = DropletRule(low=DropletClass.COARSE)
    neighbours: NeighbourRule = NeighbourRule()


class OwnLimits(Told):
    """A field's own bounds; they may tighten its window's, and never loosen a label's or law's."""

    wind: Bounds[Speed] | None = None
    gust: Bounds[Speed] | None = None
    temperature: Bounds[Temperature] | None = None
    delta_t: Bounds[TemperatureStep] | None = None
    humidity: Bounds[Percent] | None = None
    rain_free_before: Bounds[Duration] | None = None
    rain_free_after: Bounds[Duration] | None = None
    after_sunrise: Bounds[Duration] | None = None
    before_sunset: Bounds[Duration] | None = None
    droplets: DropletRule | None = None


class Sprayer(Told):
    boom_width: Length
    boom_height: SmallLength
    """Nozzle tip above the top of the canopy or target. [m]"""
    speed: Speed
    tank: Volume
    field_efficiency: Percent
    fill_time: Duration
    nozzle_spacing: SmallLength = 0.508
    """20 in, the usual spacing of US booms. [m]"""


class Setup(Told):
    sprayer: str
    nozzle: NozzleKind
    droplets: Droplets
    carrier: Carrier
    drift_reduction: Percent | None = None
    """Share of the reference drift that is avoided; by nozzle kind when not told. [%]"""
    adjuvant: Adjuvant = Adjuvant.NONE
    nozzle_size: str | None = None
    """ISO 10625 size code, "04"."""
    pressure: Pressure | None = None


class FieldPlan(Told):
    """One field to spray. Its boundary is the feature of the same id in the GeoJSON file."""

    crop: str
    weeds: WeedPressure
    target: Weeds = Weeds.MIXED
    window: str
    limits: OwnLimits = OwnLimits()
    setups: tuple[str, ...] = ()
    """Setups that may be used here; every setup of the farm when empty."""
    canopy: Length = 0.12
    """Height of the crop canopy, for the wind profile. The 0.12 m default is FAO-56's grass. [m]"""
    latest: date | None = None
    """Last day the field should be sprayed."""


class Neighbour(Told):
    """What lies beside the fields. Boundary: the feature of the same id in the GeoJSON file."""

    grows: str
    susceptibility: Susceptibility
    no_spray_distance: Length = 0.0
    """The label's downwind no-spray distance towards this neighbour. [m]"""
    tolerable_deposit: Percent | None = None
    """Share of the field rate the neighbour stands; by susceptibility when not told. [%]"""


Quantity = Literal[
    "wind",
    "gust",
    "wind_from",
    "wind_spread",
    "temperature",
    "temperature_upper",
    "humidity",
    "dew_point",
    "pressure",
    "rain",
    "cloud",
    "solar",
    "net_radiation",
]


class Heights(Told):
    """Sensor heights above ground. [m]"""

    wind: Length = 10.0
    temperature: Length = 2.0
    temperature_upper: Length | None = None


class SourceEntry(Told):
    """What every source says of itself."""

    heights: Heights = Heights()
    silent_after: Duration
    """A reading older than this is stale and never 'suitable'. [s]"""
    wind_uncertainty: Speed = 0.0
    """Stated uncertainty of the wind; widens what counts as near a bound. [m/s]"""
    measures: tuple[Quantity, ...] = ("wind", "gust", "wind_from", "temperature", "humidity")
    """What a source of observations measures. A quantity listed here is never taken from a
    forecast for the present moment, however long the source is silent."""
    estimate_gusts: bool = False
    """For a forecast without gusts: estimate them as 1.66 times the mean (upper guideline)."""


class UsWeatherService(SourceEntry):
    """api.weather.gov: grid forecast, and observations of a station when one is named."""

    kind: Literal["nws"]
    station: str | None = None
    silent_after: Duration = 90 * 60.0
    every: Duration = 15 * 60.0
    base_url: str = "https://api.weather.gov"


class MetNorway(SourceEntry):
    """MET Norway Locationforecast 2.0: forecast."""

    kind: Literal["met_norway"]
    silent_after: Duration = 3 * 3600.0
    every: Duration = 30 * 60.0
    base_url: str = "https://api.met.no/weatherapi/locationforecast/2.0"


class OpenMeteo(SourceEntry):
    """Open-Meteo: forecast. The free service is for non-commercial use; see its terms."""

    kind: Literal["open_meteo"]
    silent_after: Duration = 3 * 3600.0
    every: Duration = 30 * 60.0
    base_url: str = "https://api.open-meteo.com/v1"


class MappedQuantity(Told):
    """Where a quantity stands in the body: a JMESPath expression, and its unit."""

    at: str
    unit: str


class MappedJson(SourceEntry):
    """Any URL that answers with JSON, mapped by JMESPath expressions."""

    kind: Literal["mapped_json"]
    gives: Literal["observations", "forecast"]
    url: str
    every: Duration
    times: str
    """JMESPath of the list of times: ISO 8601 with offset, or epoch seconds."""
    issued: str | None = None
    attribution: str | None = None
    quantities: dict[str, MappedQuantity]


class PushStation(SourceEntry):
    """An on-farm station that posts its readings here; its token is a setting, not in this file."""

    kind: Literal["push"]
    silent_after: Duration = 15 * 60.0
    interval: Duration = 60.0
    place: tuple[float, float] | None = None
    """Latitude, longitude; the farm's middle when not told. [degrees]"""


Source = Annotated[
    UsWeatherService | MetNorway | OpenMeteo | MappedJson | PushStation,
    Field(discriminator="kind"),
]


class QuietHours(Told):
    """Nothing but mid-job alerts between these local times; may run across midnight."""

    start: time
    end: time


class Recipient(Told):
    """Who is told. The push URL itself is a secret setting under the recipient's name."""

    hears: tuple[str, ...] = ("brief", "job", "sources")
    quiet_hours: QuietHours | None = None
    form: Literal["push", "mail", "sms"] = "push"


class Brief(Told):
    morning: time = time(5, 30)
    evening: time | None = None


class ControlLoss(Told):
    """Loss of weed control a field stands, by weed pressure. [%]"""

    clean: Percent = 25.0
    moderate: Percent = 12.0
    weedy: Percent = 6.0


class Judging(Told):
    """Numbers of the judgement a farm may change."""

    margin: Annotated[float, Field(ge=0, le=1)] = 0.15
    calm_share: Annotated[float, Field(gt=0, le=1)] = 0.6
    """Upper end of the calm band as a share of the wind's high bound."""
    gust_over_wind: Speed = 2.2352
    """Gust bound above the wind's high bound where the window names none: 5 mph. [m/s]"""
    reach: Length = 100.0
    """How far a neighbour counts as being downwind. [m]"""
    direction_spread: Angle = 15.0
    """Direction's standard deviation where a source gives none. [deg]"""
    no_direction_above: Angle = 30.0
    """A wider spread has no trustworthy direction: every neighbour in reach is downwind. [deg]"""
    rain_counts_from: RainRate = 0.1
    """Weaker than this is dew or drizzle noise. [mm/h]"""
    control_loss: ControlLoss = ControlLoss()
    horizon: Duration = 48 * 3600.0


class FarmBasics(Told):
    name: str
    time_zone: str
    units: Literal["us", "metric"]
    fields_file: str = "fields.geojson"


class FarmFile(Told):
    """The whole farm file. Tables are keyed by the names used everywhere else."""

    farm: FarmBasics
    judging: Judging = Judging()
    brief: Brief = Brief()
    sprayers: dict[str, Sprayer]
    setups: dict[str, Setup]
    windows: dict[str, Window]
    fields: dict[str, FieldPlan]
    neighbours: dict[str, Neighbour] = {}
    sources: dict[str, Source]
    recipients: dict[str, Recipient] = {}


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of the farm file, for editors."""
    return FarmFile.model_json_schema()
