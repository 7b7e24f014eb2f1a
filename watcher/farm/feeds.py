"""Where the farm's weather comes from, as its farm file says."""

from typing import Annotated, Literal

from pydantic import Field

from watcher.farm.told import Told, Words
from watcher.units import Kind, Speed, Written

Address = Annotated[str, Field(pattern=r"^https?://[^\s/]+\S*$")]
Latitude = Annotated[float, Field(ge=-90, le=90, strict=True)]
Longitude = Annotated[float, Field(ge=-180, le=180, strict=True)]
SensorHeight = Annotated[float, Written(Kind.LENGTH, 0.2, 300)]
SilentAfter = Annotated[float, Written(Kind.DURATION, 60, 12 * 3600)]
# Free feeds ask not to be polled more often than their forecasts change.
Polite = Annotated[float, Written(Kind.DURATION, 300, 86_400)]

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


MappedName = Literal[Quantity, "rain_chance"]


class Heights(Told):
    """Sensor heights above ground. [m]"""

    wind: SensorHeight = 10.0
    """Height the wind is measured or forecast at. [m]"""
    temperature: SensorHeight = 2.0
    """Height of the thermometer. [m]"""
    temperature_upper: SensorHeight | None = None
    """Height of a second thermometer, which shows inversions. [m]"""


class SourceEntry(Told):
    """What every source says of itself."""

    heights: Heights = Heights()
    silent_after: SilentAfter
    """A reading older than this is stale and never suitable. [s]"""
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
    station: Annotated[str, Field(pattern=r"^[A-Z0-9]{3,12}$")] | None = None
    """Call sign of an observing station to read as well."""
    silent_after: SilentAfter = 90 * 60.0
    """A reading older than this is stale and never suitable. [s]"""
    every: Polite = 15 * 60.0
    """How often it is asked. [s]"""
    base_url: Address = "https://api.weather.gov"
    """Where the service answers."""


class MetNorway(SourceEntry):
    """MET Norway Locationforecast 2.0: forecast."""

    kind: Literal["met_norway"]
    silent_after: SilentAfter = 3 * 3600.0
    """A reading older than this is stale and never suitable. [s]"""
    every: Polite = 30 * 60.0
    """How often it is asked. [s]"""
    base_url: Address = "https://api.met.no/weatherapi/locationforecast/2.0"
    """Where the service answers."""


class OpenMeteo(SourceEntry):
    """Open-Meteo: forecast. The free service is for non-commercial use; see its terms."""

    kind: Literal["open_meteo"]
    silent_after: SilentAfter = 3 * 3600.0
    """A reading older than this is stale and never suitable. [s]"""
    every: Polite = 30 * 60.0
    """How often it is asked. [s]"""
    base_url: Address = "https://api.open-meteo.com/v1"
    """Where the service answers; its paid plan has another address."""


class MappedQuantity(Told):
    """Where a quantity stands in the body: a JMESPath expression, and its unit."""

    at: Words
    """JMESPath of its values, as many as there are times."""
    unit: Words
    """Unit the values are in."""


class MappedJson(SourceEntry):
    """Any URL that answers with JSON, mapped by JMESPath expressions."""

    kind: Literal["mapped_json"]
    gives: Literal["observations", "forecast"]
    url: Address
    """What is asked. A key in it belongs in the settings, not here."""
    every: Annotated[float, Written(Kind.DURATION, 10, 86_400)]
    """How often it is asked. [s]"""
    times: Words
    """JMESPath of the list of times: ISO 8601 with offset, or epoch seconds."""
    issued: Words | None = None
    """JMESPath of the time a forecast was issued."""
    attribution: Words | None = None
    """Who must be named where the weather is shown."""
    quantities: dict[MappedName, MappedQuantity]
    """What is read, by quantity."""


class PushStation(SourceEntry):
    """An on-farm station that posts its readings here; its token is a setting, not in this file."""

    kind: Literal["push"]
    silent_after: SilentAfter = 15 * 60.0
    """A reading older than this is stale and never suitable. [s]"""
    interval: Annotated[float, Written(Kind.DURATION, 1, 3600)] = 60.0
    """How often it posts. [s]"""
    place: tuple[Latitude, Longitude] | None = None
    """Latitude, longitude; the farm's middle when not told. [degrees]"""


Source = Annotated[
    UsWeatherService | MetNorway | OpenMeteo | MappedJson | PushStation,
    Field(discriminator="kind"),
]


def observes(entry: SourceEntry) -> bool:
    """Whether a source measures."""
    return (
        isinstance(entry, PushStation)
        or (isinstance(entry, UsWeatherService) and entry.station is not None)
        or (isinstance(entry, MappedJson) and entry.gives == "observations")
    )


def foretells(entry: SourceEntry) -> bool:
    """Whether a source forecasts."""
    return isinstance(entry, UsWeatherService | MetNorway | OpenMeteo) or (
        isinstance(entry, MappedJson) and entry.gives == "forecast"
    )
