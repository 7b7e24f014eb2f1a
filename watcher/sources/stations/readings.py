"""What an on-farm station posts: our own plain JSON, any JSON by a mapping, or SenML (RFC 8428).

Plain, one reading or a list of them, quantities written with their unit as everywhere else::

    {"time": "2026-06-12T12:55:00Z", "wind": "3.1 m/s", "gust": "5.2 m/s",
     "wind_from": "200 deg", "temperature": "64 degF", "humidity": "60 %"}

The names are those of ``watcher.weather.quantities``; ``null`` says that nothing was measured.
SenML names end in the same names after the last ``:`` or ``/``
(``{"bn": "urn:dev:mac:0024befffe804ff1:", "n": "wind", "u": "m/s", "v": 3.1}``). One pack carries
one device. Other names, and numbers without a unit, need a mapping (``post_mapping``).

A body is taken whole or refused whole. Names that mean nothing here, a battery's say, are passed
over and named in the answer. Where a body gives a quantity of the same second twice, the later
entry stands.
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from urllib.parse import parse_qsl

from watcher.sources import json_text
from watcher.sources.base import Observations
from watcher.sources.stations import senml, senml_packs
from watcher.sources.stations.bad_reading import BadReadingError
from watcher.sources.stations.measures import of_text
from watcher.sources.stations.post_mapping import PostMapping
from watcher.sources.stations.rows import Rows, believed, observations, shifted
from watcher.units import UnreadableQuantityError, read
from watcher.weather.measures import Measure
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import Site

MAX_BYTES = 1024 * 1024
"""A day of one-minute readings has a quarter of it, in SenML two thirds."""
MAX_READINGS = 2000
"""A day and a half of one-minute readings."""
MAX_RECORDS = 20_000
"""SenML has a record a value."""
MOST_IGNORED = 20
"""So many names that are not read are listed."""

PLAIN, FORM = "application/json", "application/x-www-form-urlencoded"
KINDS = (PLAIN, FORM, *senml_packs.READERS)
"""Content types that are taken."""


@dataclass
class ReadBody:
    """What a body holds: rows by time, and the names in it that are not read."""

    rows: Rows
    ignored: set[str] = field(default_factory=set)

    @property
    def named(self) -> tuple[str, ...]:
        """Some of these names, fit to be shown."""
        kept = sorted(self.ignored)[:MOST_IGNORED]
        return tuple("".join(c if c.isprintable() else "?" for c in n[:60]) for n in kept)


def parse(
    body: bytes,
    content_type: str,
    *,
    now: int,
    site: Site,
    source: str,
    mapping: PostMapping | None = None,
) -> Observations:
    """Return the observations that a posted body holds, in SI, sorted by time.

    ``mapping`` says what the station's own names mean. Values of a time more than two minutes after
    ``now`` (epoch seconds) carry ``Flag.FUTURE``. Raises ``BadReadingError`` naming the key and the
    mend; nothing of such a body is taken.
    """
    taken = taken_of(body, content_type, now=now, mapping=mapping)
    return observations(taken.rows, now=now, site=site, source=source, ignored=taken.named)


def taken_of(
    body: bytes, content_type: str, *, now: int, mapping: PostMapping | None = None
) -> ReadBody:
    """Return what a body holds; raises ``BadReadingError`` as ``parse``."""
    if len(body) > MAX_BYTES:
        raise BadReadingError("the body", f"is over {MAX_BYTES} bytes", "post fewer at a time")
    kind = content_type.partition(";")[0].strip().lower()
    if kind not in KINDS:
        raise BadReadingError(
            "Content-Type", f"{kind!a} is not taken", f"send {' or '.join(KINDS)}"
        )
    posted = READERS[kind](body)
    most = MAX_RECORDS if kind in senml_packs.READERS else MAX_READINGS
    if isinstance(posted, list) and len(posted) > most:
        raise BadReadingError("the body", f"is over {most} entries", "post fewer")
    if kind in senml_packs.READERS:
        taken = _from_senml(posted, now, mapping)
    elif mapping is not None:
        taken = _from_mapped(posted, now, mapping)
    else:
        taken = _from_plain(posted, now)
    if not any(taken.rows.values()) and (taken.ignored or not taken.rows):
        there = f"; it has {', '.join(taken.named)}" if taken.ignored else ""
        mend = (
            "correct quantities in the farm file"
            if mapping
            else f"send any of {', '.join(BY_NAME)}, or map its own names in the farm file "
            "(watcher learn proposes how)"
        )
        raise BadReadingError("the body", f"holds no reading{there}", mend)
    return taken


def _json(body: bytes) -> object:
    try:
        return json_text.loads(body)
    except ValueError as error:
        raise BadReadingError("the body", f"is not JSON: {error}", "post UTF-8 JSON") from error


def _form(body: bytes) -> object:
    try:
        pairs = parse_qsl(body.decode("ascii"), keep_blank_values=True, max_num_fields=500)
    except ValueError as error:
        raise BadReadingError(
            "the body", f"is no form: {error}", "post names and values"
        ) from error
    return dict(pairs)


READERS: Mapping[str, Callable[[bytes], object]] = {
    PLAIN: _json,
    FORM: _form,
    **senml_packs.READERS,
}
"""By content type, what makes a body plain values; ``BadReadingError``."""


def _from_mapped(posted: object, now: int, mapping: PostMapping) -> ReadBody:
    readings = mapping.readings_of(posted)
    if len(readings) > MAX_READINGS:
        raise BadReadingError("the body", f"is over {MAX_READINGS} entries", "post fewer")
    rows, unread = mapping.rows(readings, now)
    return ReadBody(rows, unread)


def _from_plain(posted: object, now: int) -> ReadBody:
    taken = ReadBody({})
    readings = posted if isinstance(posted, list) else [posted]
    for index, reading in enumerate(readings):
        where = f"reading {index}, " if isinstance(posted, list) else ""
        if not isinstance(reading, Mapping):
            raise BadReadingError(f"{where}the reading", "is not an object", 'write {"time": …}')
        time = believed(f"{where}'time'", _plain_time(where, reading.get("time")), now)
        row = taken.rows.setdefault(time, {})
        for key, value in reading.items():
            if key not in BY_NAME:
                taken.ignored |= {key} - {"time"}
            elif value is not None:
                measure = Measure(BY_NAME[key])
                number = _plain_value(where, key, value, measure)
                if number is not None:
                    row[measure.column] = number
    return taken


def _plain_time(where: str, text: object) -> float:
    mend = 'write UTC or an offset, such as "2026-06-12T12:55:00Z"'
    if not isinstance(text, str):
        raise BadReadingError(f"{where}'time'", "is missing or not a text", mend)
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadReadingError(f"{where}'time'", f"{text[:40]!a} is no time", mend) from error
    if moment.tzinfo is None:
        raise BadReadingError(f"{where}'time'", f"{text[:40]!a} has no time zone", mend)
    return (moment - datetime.fromtimestamp(0, UTC)).total_seconds()


def _plain_value(where: str, key: str, value: object, measure: Measure) -> float | None:
    quantity = measure.quantity
    try:
        is_text = isinstance(value, str)
        number = of_text(measure, str(value)) if is_text else read(value, quantity.kind)
    except UnreadableQuantityError as error:
        mend = (
            f'write a text such as "{quantity.kind.example}", or name its unit under quantities '
            "in the farm file"
        )
        raise BadReadingError(f"{where}{key!a}", str(error.reason), mend) from error
    return None if number is None else _measured(f"{where}{key!a}", number)


def _from_senml(posted: object, now: int, mapping: PostMapping | None) -> ReadBody:
    taken = ReadBody({})
    station = None
    for record in senml.resolve(posted, now=now):
        time = believed(f"{record.name!a}, 't'", record.time, now)
        name = re.split("[:/]", record.name)[-1]
        device = record.name.removesuffix(name)
        measure = _of_senml(record.name, name, mapping)
        if measure is None:
            taken.ignored.add(name)
            continue
        if station not in {None, device}:
            raise BadReadingError(
                f"{record.name!a}, 'n'", f"is not of {station!a}", "post each device by itself"
            )
        station = device
        value = _senml_value(record, measure)
        row = taken.rows.setdefault(time, {})
        if value is not None:
            row[measure.column] = value
    if mapping is not None:
        taken.rows = shifted(taken.rows, mapping.clock_ahead_s)
    return taken


def _of_senml(whole: str, name: str, mapping: PostMapping | None) -> Measure | None:
    """Return what a record's name means: mapped whole, by its last part, or one of our own."""
    if mapping is not None:
        measure = mapping.by_name(whole) or mapping.by_name(name)
        if measure is not None:
            return measure
    return Measure(BY_NAME[name]) if name in BY_NAME else None


def _senml_value(record: senml.SenmlRecord, measure: Measure) -> float | None:
    """Return a record's value; its own unit counts before the mapping's."""
    where = f"{record.name!a}"
    if record.text is not None:
        try:
            return of_text(measure, record.text)
        except ValueError as error:
            raise BadReadingError(where, "is not a number", 'send it as "v"') from error
    if record.value is None:
        raise BadReadingError(where, "is not a number", 'send it as "v"')
    unit = senml.UNITS.get(record.unit)
    quantity = measure.quantity
    mend = f"use a SenML unit of {quantity.name} out of {', '.join(senml.UNITS)}"
    if unit is None and measure.unit is not None:
        return _measured(where, measure.si(record.value))
    if unit is None:
        raise BadReadingError(f"{where}, 'u'", f"{record.unit!a} is not taken", mend)
    try:
        number = Measure(quantity, unit, measure.reported_as).si(record.value)
    except UnreadableQuantityError as error:
        raise BadReadingError(f"{where}, 'u'", str(error.reason), mend) from error
    return _measured(where, number)


def _measured(where: str, number: float) -> float:
    if not math.isfinite(number):
        raise BadReadingError(where, "is not a finite number", "send null, or leave it out")
    return number
