"""Stations whose settings do not fit together."""

import re
from collections.abc import Iterator, Mapping
from zoneinfo import available_timezones

from watcher.farm.feeds import MappedJson, Source
from watcher.farm.problems import Problem
from watcher.farm.read_file import Draft
from watcher.farm.stations import (
    CsvStation,
    MetarStation,
    ModbusStation,
    MqttStation,
    NmeaStation,
    PushStation,
    SampledStation,
    SensorthingsStation,
    SunspecStation,
)
from watcher.farm.validation_messages import assigned, dotted
from watcher.i18n.message import Message, Param, say
from watcher.units import UnreadableQuantityError
from watcher.weather.measures import Measure, ReportedAs
from watcher.weather.quantities import BY_NAME

_OFFSET = re.compile(r"[+-]\d\d:\d\d")
_DIRECTIVE = re.compile("%(.)")
_READ = frozenset("YymdjHIMSpbBaAfz%")
"""Directives of a time's form that are read."""
_FRESH_S = 3.0
"""Samples further apart make no gust."""


def station_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    """Say everything about one source that does not fit together."""
    for steps, wrong, mend in (*_unit_mistakes(source), *_mistakes(source)):
        yield draft.problem(_key(draft, ("sources", name, *steps)), wrong, mend)


Mistake = tuple[tuple[str, ...], Message, Message]


def _key(draft: Draft, steps: tuple[str, ...]) -> Param:
    written = draft.at(*steps)
    return assigned(steps, written) if isinstance(written, str) else dotted(steps)


def given(source: Source) -> tuple[Message, frozenset[str]] | None:
    """Return which quantities a source can give at most, after what keeps it from more.

    None where nothing is known of it, as of what a station sends by itself under our names.
    """
    match source:
        case (
            MappedJson()
            | CsvStation()
            | SensorthingsStation()
            | PushStation()
            | MqttStation(payload="mapped")
        ) if source.quantities or not isinstance(source, PushStation):
            return say("which quantities do not map"), frozenset(source.quantities)
        case ModbusStation():
            return say("which registers do not map"), _with_made(
                source, frozenset(source.registers)
            )
        case SunspecStation():
            return say("which the models do not give"), _with_made(source, _SUNSPEC)
        case MetarStation():
            return say("which reports do not give"), _METAR
        case NmeaStation():
            read = _NMEA | frozenset(source.transducers)
            return say("which no sentence gives and transducers do not map"), _with_made(
                source, read
            )
    return None


_SUNSPEC = frozenset({"wind", "wind_from", "temperature", "humidity", "pressure", "solar"})
_METAR = frozenset(
    {"wind", "gust", "wind_from", "temperature", "dew_point", "humidity", "cloud", "ceiling"}
)
_NMEA = frozenset({"wind", "wind_from", "temperature", "humidity", "dew_point", "pressure"})


def _with_made(source: SampledStation, read: frozenset[str]) -> frozenset[str]:
    made = {"wind_spread"} if "wind_from" in read else set()
    return read | made | ({"gust"} if source.gusts_from_samples else set())


def _unit_mistakes(source: Source) -> Iterator[Mistake]:
    for table in ("quantities", "registers"):
        mapped: Mapping[str, object] = getattr(source, table, {})
        for quantity, entry in mapped.items():
            unit = getattr(entry, "unit", None)
            reported_as: ReportedAs = getattr(entry, "reported_as", "rate")
            if reported_as != "rate" and quantity != "rain":
                yield (table, quantity, "reported_as"), say("is of rain only"), say("take it out")
                continue
            try:
                if unit is not None:
                    Measure(BY_NAME[quantity], unit, reported_as).si(1.0)
            except UnreadableQuantityError as error:
                yield (table, quantity, "unit"), error.reason, error.mend


def _mistakes(source: Source) -> Iterator[Mistake]:
    match source:
        case MqttStation():
            yield from _mqtt_mistakes(source)
        case CsvStation():
            yield from _csv_mistakes(source)
        case PushStation():
            yield from _push_mistakes(source)
        case MetarStation() if (source.url is None) == (source.file is None):
            yield ("url",), say("and file: exactly one is needed"), say("say where the reports are")
        case ModbusStation() | SunspecStation() if source.gusts_from_samples:
            if source.every > _FRESH_S:
                wrong = say("needs a sample at least every 3 s")
                yield ("gusts_from_samples",), wrong, say("make every shorter, or take it out")


def _mqtt_mistakes(source: MqttStation) -> Iterator[Mistake]:
    mapped = source.payload == "mapped"
    if mapped and not source.quantities:
        yield (
            ("quantities",),
            say("is empty, and messages are mapped"),
            say("map at least one quantity"),
        )
    if not mapped and source.time:
        yield ("payload",), say("is not mapped, but time is"), say('write "mapped"')
    if source.payload == "readings" and source.quantities:
        yield ("payload",), say("is not mapped, but quantities are"), say('write "mapped"')
    yield from _time_mistakes(source.time_format, source.time_zone)
    if mapped and source.session and not source.time:
        wrong = say("keeps messages whose age nobody could tell")
        yield ("session",), wrong, say("map their time as well, or take session out")
    if source.ca_file and not source.tls:
        yield ("ca_file",), say("is not used without tls"), say("add tls = true")


def _push_mistakes(source: PushStation) -> Iterator[Mistake]:
    for key in ("time", "time_format", "time_zone", "readings"):
        if getattr(source, key) is not None and not source.quantities:
            yield (key,), say("is given, but no quantities are"), say("say which key holds what")
    yield from _time_mistakes(source.time_format, source.time_zone)


def _time_mistakes(form: str | None, zone: str | None) -> Iterator[Mistake]:
    if form is not None and form not in {"iso", "epoch"}:
        directives = set(_DIRECTIVE.findall(form))
        mend = say('write "iso", "epoch" or something like "%d.%m.%Y %H:%M"')
        if not directives:
            yield ("time_format",), say("is no format"), mend
        elif strange := sorted(directives - _READ):
            wrong = say("has {directive}, which is not read", directive=f"%{strange[0]}")
            yield ("time_format",), wrong, mend
        elif not directives & {"Y", "y"} or not (directives >= {"m", "d"} or _dated(directives)):
            yield ("time_format",), say("does not tell year and day"), mend
    if zone is not None and not _OFFSET.fullmatch(zone) and zone not in available_timezones():
        yield ("time_zone",), say("is not a time zone"), say('write its IANA name or "-06:00"')


def _dated(directives: set[str]) -> bool:
    return "j" in directives or ("d" in directives and bool(directives & {"b", "B"}))


def _csv_mistakes(source: CsvStation) -> Iterator[Mistake]:
    named = [*source.time, *(q.column for q in source.quantities.values())]
    if source.names_row > source.header_rows and any(isinstance(c, str) for c in named):
        wrong = say("lies below the header, and columns are named")
        yield ("names_row",), wrong, say("count header_rows again, or give columns by number")
    if source.delimiter == source.decimal:
        yield ("delimiter",), say("is the decimal sign as well"), say("look at the file again")
    if not source.time:
        yield ("time",), say("names no column"), say("say which columns hold the time")
    yield from _time_mistakes(source.time_format, source.time_zone)
    try:
        plain = "a\n".encode(source.encoding) == b"a\n"
    except LookupError:
        plain = False
    if not plain:
        wrong = say("is not known, or writes line ends its own way")
        yield ("encoding",), wrong, say('write "utf-8" or "latin-1"')
