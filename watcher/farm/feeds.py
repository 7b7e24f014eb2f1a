"""Where the farm's weather comes from, as its farm file says: feeds, and all kinds of source."""

from typing import Annotated, Literal, get_args

from pydantic import Field

from watcher.farm.base import FarmModel, Words
from watcher.farm.source_entry import Address, MappedName, SilentAfter, SourceEntry
from watcher.farm.stations import (
    CsvStation,
    MetarStation,
    ModbusStation,
    MqttStation,
    NmeaStation,
    PushStation,
    SensorthingsStation,
    Station,
    SunspecStation,
)
from watcher.units import Kind, Written
from watcher.written_secrets import asks_for_key

# Free feeds ask not to be polled more often than their forecasts change.
Polite = Annotated[float, Written(Kind.DURATION, 300, 86_400)]


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


class MappedQuantity(FarmModel):
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
    """What is asked. Its key is a setting; "{key}" stands where it goes: "…?appid={key}"."""
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


Source = Annotated[
    UsWeatherService
    | MetNorway
    | OpenMeteo
    | MappedJson
    | PushStation
    | MqttStation
    | ModbusStation
    | SunspecStation
    | CsvStation
    | MetarStation
    | SensorthingsStation
    | NmeaStation,
    Field(discriminator="kind"),
]


_KEYED = (MappedJson, MetarStation)
KEYED = frozenset(kind for one in _KEYED for kind in get_args(one.model_fields["kind"].annotation))
"""The kinds of source into whose address a key of their own is filled in."""


def is_filled_in(entry: SourceEntry) -> bool:
    """Whether a key is filled in where the address of a source has its gap."""
    return isinstance(entry, _KEYED) and asks_for_key(entry.url or "")


def observes(entry: SourceEntry) -> bool:
    """Whether a source measures."""
    return (
        isinstance(entry, Station)
        or (isinstance(entry, UsWeatherService) and entry.station is not None)
        or (isinstance(entry, MappedJson) and entry.gives == "observations")
    )


def foretells(entry: SourceEntry) -> bool:
    """Whether a source forecasts."""
    return isinstance(entry, UsWeatherService | MetNorway | OpenMeteo) or (
        isinstance(entry, MappedJson) and entry.gives == "forecast"
    )
