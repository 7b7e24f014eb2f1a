"""Stations whose settings do not fit together."""

import re
from collections.abc import Iterator, Mapping
from zoneinfo import available_timezones

from watcher.farm.feeds import MappedJson, Source
from watcher.farm.problems import Problem
from watcher.farm.reading import Draft
from watcher.farm.slips import assigned, dotted
from watcher.farm.stations import (
    CsvStation,
    MetarStation,
    ModbusStation,
    MqttStation,
    NmeaStation,
    SampledStation,
    SensorthingsStation,
    SunspecStation,
)
from watcher.units import UnreadableQuantityError
from watcher.weather.quantities import BY_NAME

_OFFSET = re.compile(r"[+-]\d\d:\d\d")
_FRESH_S = 3.0
"""Samples further apart make no gust."""


def station_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    """Say everything about one source that does not fit together."""
    for steps, wrong, mend in (*_unit_slips(source), *_slips(source)):
        yield draft.problem(_key(draft, ("sources", name, *steps)), wrong, mend)


Slip = tuple[tuple[str, ...], str, str]


def _key(draft: Draft, steps: tuple[str, ...]) -> str:
    written = draft.at(*steps)
    return assigned(steps, written) if isinstance(written, str) else dotted(steps)


def given(source: Source) -> tuple[str, frozenset[str]] | None:
    """Return which quantities a source can give at most, after what keeps it from more.

    None where nothing is known of it, as of what a station sends by itself.
    """
    match source:
        case MappedJson() | CsvStation() | SensorthingsStation() | MqttStation(payload="mapped"):
            return "quantities do not map", frozenset(source.quantities)
        case ModbusStation():
            return "registers do not map", _with_made(source, frozenset(source.registers))
        case SunspecStation():
            return "the models do not give", _with_made(source, _SUNSPEC)
        case MetarStation():
            return "reports do not give", _METAR
        case NmeaStation():
            read = _NMEA | frozenset(source.transducers)
            return "no sentence gives and transducers do not map", _with_made(source, read)
    return None


_SUNSPEC = frozenset({"wind", "wind_from", "temperature", "humidity", "pressure", "solar"})
_METAR = frozenset({"wind", "gust", "wind_from", "temperature", "dew_point", "humidity"})
_NMEA = frozenset({"wind", "wind_from", "temperature", "humidity", "dew_point", "pressure"})


def _with_made(source: SampledStation, read: frozenset[str]) -> frozenset[str]:
    made = {"wind_spread"} if "wind_from" in read else set()
    return read | made | ({"gust"} if source.gusts_from_samples else set())


def _unit_slips(source: Source) -> Iterator[Slip]:
    for table in ("quantities", "registers"):
        mapped: Mapping[str, object] = getattr(source, table, {})
        for quantity, entry in mapped.items():
            unit = getattr(entry, "unit", None)
            try:
                if unit is not None:
                    BY_NAME[quantity].kind.scale(unit)
            except UnreadableQuantityError as error:
                yield (table, quantity, "unit"), error.reason, error.mend


def _slips(source: Source) -> Iterator[Slip]:
    match source:
        case MqttStation():
            yield from _mqtt_slips(source)
        case CsvStation():
            yield from _csv_slips(source)
        case MetarStation() if (source.url is None) == (source.file is None):
            yield ("url",), "and file: exactly one is needed", "say where the reports are"
        case ModbusStation() | SunspecStation() if source.gusts_from_samples:
            if source.every > _FRESH_S:
                wrong = "needs a sample at least every 3 s"
                yield ("gusts_from_samples",), wrong, "make every shorter, or take it out"


def _mqtt_slips(source: MqttStation) -> Iterator[Slip]:
    mapped = source.payload == "mapped"
    if mapped and not source.quantities:
        yield ("quantities",), "is empty, and messages are mapped", "map at least one quantity"
    if not mapped and (source.quantities or source.time):
        yield ("payload",), "is not mapped, but time or quantities are", 'write "mapped"'
    if mapped and source.session and not source.time:
        wrong = "keeps messages whose age nobody could tell"
        yield ("session",), wrong, "map their time as well, or take session out"
    if source.ca_file and not source.tls:
        yield ("ca_file",), "is not used without tls", "add tls = true"


def _csv_slips(source: CsvStation) -> Iterator[Slip]:
    named = [*source.time, *(q.column for q in source.quantities.values())]
    if source.names_row > source.header_rows and any(isinstance(c, str) for c in named):
        wrong = "lies below the header, and columns are named"
        yield ("names_row",), wrong, "count header_rows again, or give columns by number"
    if source.delimiter == source.decimal:
        yield ("delimiter",), "is the decimal sign as well", "look at the file again"
    if not source.time:
        yield ("time",), "names no column", "say which columns hold the time"
    if source.time_format not in {"iso", "epoch"} and "%" not in source.time_format:
        yield ("time_format",), "is no format", 'write "iso", "epoch" or something like "%H:%M"'
    if not _OFFSET.fullmatch(source.time_zone) and source.time_zone not in available_timezones():
        yield ("time_zone",), "is not a time zone", 'write its IANA name or "-06:00"'
    try:
        plain = "a\n".encode(source.encoding) == b"a\n"
    except LookupError:
        plain = False
    if not plain:
        wrong = "is not known, or writes line ends its own way"
        yield ("encoding",), wrong, 'write "utf-8" or "latin-1"'
