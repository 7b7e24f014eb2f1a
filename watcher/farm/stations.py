"""Stations that measure on the farm or beside it, by the way they speak."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from watcher.farm.base import FarmModel, Name, Words
from watcher.farm.source_entry import (
    Address,
    Latitude,
    Longitude,
    MappedName,
    Quantity,
    SilentAfter,
    SourceEntry,
)
from watcher.units import Kind, Written

Host = Annotated[str, Field(pattern=r"^[A-Za-z0-9]([A-Za-z0-9.:-]{0,252}[A-Za-z0-9])?$")]
Port = Annotated[int, Field(ge=1, le=65_535, strict=True)]
Interval = Annotated[float, Written(Kind.DURATION, 1, 3600)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Column = Words | Annotated[int, Field(ge=1, strict=True)]
"""Name of a column, or its number from 1."""


def _listed(value: Any) -> Any:
    """Return one column as a list of one."""
    return [value] if isinstance(value, str | int) else value


class Station(SourceEntry):
    """What every station says of itself."""

    silent_after: SilentAfter = 15 * 60.0
    """A reading older than this is stale and never suitable. [s]"""
    place: tuple[Latitude, Longitude] | None = None
    """Latitude, longitude; the farm's middle when not given. [degrees]"""


class DatedStation(Station):
    """A station that dates its readings by a clock of its own."""

    clock_ahead: Annotated[float, Written(Kind.DURATION, -86_400, 86_400)] = 0.0
    """How far its clock is known to run ahead; negative when it is behind. [s]"""


class SampledStation(Station):
    """A station that only says what it sees at the moment, from which readings are made."""

    interval: Annotated[float, Written(Kind.DURATION, 30, 600)] = 60.0
    """Over how long samples become one reading. [s]"""
    wind_spread_over: Literal["reading", "ten minutes"] = "ten minutes"
    """Over what its wind_spread is: what is made of samples is over ten minutes."""
    gusts_from_samples: bool = False
    """Make gusts from the samples. Only right when each is fresh, at most 3 s after the last, and
    no mean: an instrument that averages hides its gusts."""
    measures: tuple[Quantity, ...] = (
        "wind",
        "wind_from",
        "wind_spread",
        "temperature",
        "humidity",
    )
    """What it measures; as for every source, but no gust when not given."""


class ReportedQuantity(FarmModel):
    """A quantity of a station, and how it is reported where it is rain."""

    reported_as: Literal["rate", "amount", "total"] = "rate"
    """Of rain: "rate"; "amount" that fell since the reading before; "total", a count that only
    grows and now and then begins anew. Of the last two the unit is a length, and may be that of one
    tip: "0.2 mm"."""


class PostedQuantity(ReportedQuantity):
    """Where a quantity stands in what a station posts."""

    at: Words
    """Its name as it is sent, or JMESPath of its value; of SenML the name, whole or its last
    part."""
    unit: Words | None = None
    """Unit the value is in; when not given, each value carries its own."""


class PushStation(DatedStation):
    """An on-farm station that posts its readings here; its token is a setting, not in this file."""

    kind: Literal["push"]
    interval: Interval = 60.0
    """How often it posts, until its readings tell. [s]"""
    quantities: dict[MappedName, PostedQuantity] = Field(default_factory=dict)
    """What its own names mean, by quantity; without it the names are ours, with units."""
    time: Words | None = None
    """Name, or JMESPath, of the time in a reading, "time" when not given; "arrival" for a station
    that tells none: its readings are then of the moment they come."""
    time_format: Words | None = None
    """"iso", "epoch", or directives as of strptime; ISO 8601 or a number since 1970 when not
    given."""
    time_zone: Words | None = None
    """IANA name of the zone its clock is set to, or an offset; times tell their own when not
    given."""
    readings: Words | None = None
    """Name, or JMESPath, of the list of readings; the body itself when not given."""
    missing: tuple[str, ...] = ("", "NaN", "null", "---", "-9999")
    """What is sent for "not measured". Numbers are compared as numbers."""


class MqttQuantity(ReportedQuantity):
    """Where a quantity stands in a message."""

    at: Words
    """JMESPath of its value; "@" when the message is nothing else. Of SenML its name."""
    unit: Words | None = None
    """Unit the value is in; when not given, each value carries its own."""
    topic: Words | None = None
    """Topic it comes on, wildcards allowed; the station's when not given."""


class MqttStation(DatedStation):
    """A station heard through an MQTT broker; the broker's password is a setting."""

    kind: Literal["mqtt"]
    host: Host
    """The broker."""
    port: Port | None = None
    """The broker's port; 1883, with TLS 8883, when not given."""
    tls: bool = False
    """Whether the line is encrypted and the broker proves itself."""
    ca_file: Words | None = None
    """Certificates the broker is known by; those of this machine when not given."""
    user: Words | None = None
    """User name at the broker."""
    version: Literal["3.1.1", "5"] = "3.1.1"
    """Version of MQTT."""
    topic: Words
    """Topic of the station's messages, wildcards allowed. Nothing else should be under it."""
    session: Name | None = None
    """Name under which the broker keeps, while this side is away, what comes in; none when not
    given. Only readings with a time of their own are taken then."""
    payload: Literal["senml", "senml-cbor", "readings", "mapped"] = "senml"
    """What a message holds: a SenML pack in JSON or CBOR, the JSON that stations post, or any JSON,
    mapped."""
    time: Words | None = None
    """JMESPath of a mapped message's time: ISO 8601 with offset, or a number since 1970. When not
    given, the moment a message comes is taken, and messages the broker kept are passed over."""
    time_format: Words | None = None
    """"iso", "epoch", or directives as of strptime, when its time is written otherwise."""
    time_zone: Words | None = None
    """IANA name of the zone its clock is set to, or an offset; times tell their own when not
    given."""
    quantities: dict[MappedName, MqttQuantity] = Field(default_factory=dict)
    """What is read from a mapped message, by quantity; of SenML what its names mean."""
    interval: Interval = 60.0
    """How often it sends. [s]"""


class Register(FarmModel):
    """Where a quantity stands in a Modbus map: value = number * scale + offset."""

    address: Annotated[int, Field(ge=0, le=65_535, strict=True)]
    """Address as in the request, from 0: one less than a map that counts from 1."""
    table: Literal["holding", "input"] = "holding"
    """Which registers: function 3 or function 4."""
    type: Literal["int16", "uint16", "int32", "uint32", "float32"] = "int16"
    """Size and sign of the number."""
    words: Literal["high first", "low first"] = "high first"
    """Order of the two registers of a 32-bit number."""
    scale: Number = 1.0
    """What the number is multiplied by: 0.1 for tenths."""
    offset: Number = 0.0
    """What is then added."""
    unit: Words
    """Unit the value is then in."""
    missing: Number | None = None
    """The number that stands for "not measured"; none when not given."""


class ModbusPort(SampledStation):
    """A station asked for its registers over Modbus TCP."""

    host: Host
    """Where it answers."""
    port: Port = 502
    """Port it answers on."""
    device: Annotated[int, Field(ge=0, le=255, strict=True)] = 1
    """Its unit identifier."""
    every: Annotated[float, Written(Kind.DURATION, 0.5, 60)] = 2.0
    """How often it is sampled. [s]"""


class ModbusStation(ModbusPort):
    """Modbus TCP by a map of registers."""

    kind: Literal["modbus"]
    registers: dict[MappedName, Register]
    """What is read, by quantity."""


class SunspecStation(ModbusPort):
    """Modbus TCP by the SunSpec meteorological models, found in the device by themselves."""

    kind: Literal["sunspec"]
    wind_uncertainty: Annotated[float, Written(Kind.SPEED, 0.5, 40)] = 0.5
    """Stated uncertainty of the wind, which these models give in whole m/s. [m/s]"""


class CsvQuantity(ReportedQuantity):
    """Where a quantity stands in a CSV file."""

    column: Column
    """Name of its column, or its number from 1."""
    unit: Words
    """Unit the values are in."""


class CsvStation(DatedStation):
    """A station that writes CSV files: one that grows, or new ones dropped in a folder."""

    kind: Literal["csv"]
    files: Words
    """The file, or with * and ? the files, on this machine."""
    every: Annotated[float, Written(Kind.DURATION, 5, 86_400)] = 60.0
    """How often they are looked at. [s]"""
    interval: Interval = 60.0
    """How often a row is written. [s]"""
    encoding: Words = "utf-8"
    """How text is encoded."""
    delimiter: Annotated[str, Field(min_length=1, max_length=1)] = ","
    """What stands between columns; any number of spaces when it is a space."""
    decimal: Literal[".", ","] = "."
    """What stands before decimals."""
    header_rows: Annotated[int, Field(ge=0, le=1000, strict=True)] = 1
    """Rows above the data."""
    names_row: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    """Which of them holds the names of the columns."""
    time: Annotated[tuple[Column, ...], BeforeValidator(_listed)]
    """Column of the time, or a list of columns that are joined by a space."""
    time_format: Words = "iso"
    """"iso", "epoch", or directives as of strptime: "%d.%m.%y %H:%M"; "%Y %j %H%M" for day of year
    and hours with minutes, zeros in front or not."""
    time_zone: Words = "UTC"
    """IANA name of the zone its clock is set to, or an offset that never changes: "-06:00"."""
    missing: tuple[str, ...] = ("", "NaN", "-9999")
    """What is written for "not measured". Numbers are compared as numbers."""
    whole_files: bool = False
    """Files are put there whole: the last line counts even without a line end."""
    quantities: dict[MappedName, CsvQuantity]
    """What is read, by quantity."""


class MetarStation(Station):
    """Aerodrome reports (METAR, SPECI; WMO FM 15) from an address or a file."""

    kind: Literal["metar"]
    station: Annotated[str, Field(pattern=r"^[A-Z][A-Z0-9]{3}$")]
    """Location indicator of the aerodrome; reports of others are passed over."""
    url: Address | None = None
    """Address of the text; a file or this."""
    file: Words | None = None
    """File with the text, on this machine."""
    every: Annotated[float, Written(Kind.DURATION, 60, 86_400)] = 10 * 60.0
    """How often it is looked at. [s]"""
    silent_after: SilentAfter = 90 * 60.0
    """A reading older than this is stale and never suitable. [s]"""


class DatastreamQuantity(FarmModel):
    """Which datastream gives a quantity."""

    datastream: Words | Annotated[int, Field(strict=True)]
    """Its @iot.id, a number or text."""
    unit: Words | None = None
    """Unit of its results; the one it declares when not given."""


class SensorthingsStation(DatedStation):
    """Datastreams of an OGC SensorThings API (v1.1) service."""

    kind: Literal["sensorthings"]
    url: Address
    """Root of the service, with its version: "https://sta.example/v1.1"."""
    every: Annotated[float, Written(Kind.DURATION, 10, 86_400)] = 5 * 60.0
    """How often it is asked. [s]"""
    quantities: dict[MappedName, DatastreamQuantity]
    """What is read, by quantity."""


class NmeaStation(SampledStation):
    """An instrument that speaks NMEA 0183, over TCP or a serial line."""

    kind: Literal["nmea"]
    address: Annotated[str, Field(pattern=r"^(tcp://[^\s/:]+:[0-9]{1,5}|/dev/\S+)$")]
    """Where it is heard: "tcp://host:port", or a serial device such as "/dev/ttyUSB0"."""
    baud: Literal[4800, 9600, 19200, 38400, 57600, 115200] = 4800
    """Speed of a serial line."""
    mast_points: Annotated[float, Written(Kind.ANGLE, 0, 360)] | None = None
    """Where the instrument's zero mark points, from true north; without it relative wind angles
    (MWV) give no direction. [deg]"""
    measures: tuple[Quantity, ...] = ("wind", "wind_from", "wind_spread")
    """What it measures; as for every source, but only the wind when not given."""
    transducers: dict[MappedName, Words] = Field(default_factory=dict)
    """Names of the transducers (XDR) that are read, by quantity."""
