"""What an on-farm station posts: our own plain JSON, or SenML (RFC 8428).

Plain, one reading or a list of them, quantities written with their unit as everywhere else::

    {"time": "2026-06-12T12:55:00Z", "wind": "3.1 m/s", "gust": "5.2 m/s",
     "wind_from": "200 deg", "temperature": "64 degF", "humidity": "60 %"}

The names are those of ``watcher.weather.quantities``; ``null`` says that nothing was measured.
SenML names end in the same names after the last ``:`` or ``/``
(``{"bn": "urn:dev:mac:0024befffe804ff1:", "n": "wind", "u": "m/s", "v": 3.1}``); records of other
names, a battery's say, are passed over. One pack carries one device.

A body is taken whole or refused whole. Where it gives a quantity of the same second twice, the
later entry stands.
"""

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime

from watcher.sources import json_text, senml
from watcher.sources.bad_reading import BadReadingError
from watcher.sources.base import Observations
from watcher.sources.rows import Rows, believed, observations
from watcher.units import UnreadableQuantityError, convert, read
from watcher.weather.quantities import BY_NAME, Quantity
from watcher.weather.series import Site

MAX_BYTES = 256 * 1024
MAX_READINGS = 2000
"""A day and a half of one-minute readings."""


def parse(body: bytes, content_type: str, *, now: int, site: Site, source: str) -> Observations:
    """Return the observations that a posted body holds, in SI, sorted by time.

    Values of a time more than two minutes after ``now`` (epoch seconds) carry ``Flag.FUTURE``.
    Raises ``BadReadingError`` naming the key and the mend; nothing of such a body is taken.
    """
    return observations(rows_of(body, content_type, now=now), now=now, site=site, source=source)


def rows_of(body: bytes, content_type: str, *, now: int) -> Rows:
    """Return the readings of a body as rows by time; raises ``BadReadingError`` as ``parse``."""
    if len(body) > MAX_BYTES:
        raise BadReadingError("the body", f"is over {MAX_BYTES} bytes", "post fewer at a time")
    kind = content_type.partition(";")[0].strip().lower()
    if kind not in _READERS:
        raise BadReadingError(
            "Content-Type", f"{kind!a} is not taken", f"send {' or '.join(_READERS)}"
        )
    try:
        posted = json_text.loads(body)
    except ValueError as error:
        raise BadReadingError("the body", f"is not JSON: {error}", "post UTF-8 JSON") from error
    if isinstance(posted, list) and len(posted) > MAX_READINGS:
        raise BadReadingError("the body", f"is over {MAX_READINGS} entries", "post fewer")
    rows = _READERS[kind](posted, now)
    if not rows:
        raise BadReadingError("the body", "holds no reading", f"send any of {', '.join(BY_NAME)}")
    return rows


def _from_plain(posted: object, now: int) -> Rows:
    rows: Rows = {}
    readings = posted if isinstance(posted, list) else [posted]
    for index, reading in enumerate(readings):
        where = f"reading {index}, " if isinstance(posted, list) else ""
        if not isinstance(reading, Mapping):
            raise BadReadingError(f"{where}the reading", "is not an object", 'write {"time": …}')
        time = believed(f"{where}'time'", _plain_time(where, reading.get("time")), now)
        row = rows.setdefault(time, {})
        for key, value in reading.items():
            if key != "time" and value is not None:
                quantity, number = _plain_value(where, key, value)
                row[quantity.series] = number
    return rows


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


def _plain_value(where: str, key: str, value: object) -> tuple[Quantity, float]:
    quantity = BY_NAME.get(key)
    if quantity is None:
        raise BadReadingError(
            f"{where}{key[:40]!a}", "is not a quantity known here", f"use {', '.join(BY_NAME)}"
        )
    try:
        number = read(value, quantity.kind)
    except UnreadableQuantityError as error:
        mend = f'write a text such as "{quantity.kind.example}"'
        raise BadReadingError(f"{where}{key!a}", error.reason, mend) from error
    return quantity, _measured(f"{where}{key!a}", number)


def _from_senml(posted: object, now: int) -> Rows:
    rows: Rows = {}
    station = None
    for record in senml.resolve(posted, now=now):
        time = believed(f"{record.name!a}, 't'", record.time, now)
        name = re.split("[:/]", record.name)[-1]
        device = record.name.removesuffix(name)
        quantity = BY_NAME.get(name)
        if quantity is None:
            continue
        if station not in {None, device}:
            raise BadReadingError(
                f"{record.name!a}, 'n'", f"is not of {station!a}", "post each device by itself"
            )
        station = device
        rows.setdefault(time, {})[quantity.series] = _senml_value(record, quantity)
    return rows


def _senml_value(record: senml.Record, quantity: Quantity) -> float:
    if record.value is None:
        raise BadReadingError(f"{record.name!a}", "is not a number", 'send it as "v"')
    unit = senml.UNITS.get(record.unit)
    mend = f"use a SenML unit of {quantity.name} out of {', '.join(senml.UNITS)}"
    if unit is None:
        raise BadReadingError(f"{record.name!a}, 'u'", f"{record.unit!a} is not taken", mend)
    try:
        number = convert(record.value, unit, quantity.kind)
    except UnreadableQuantityError as error:
        raise BadReadingError(f"{record.name!a}, 'u'", error.reason, mend) from error
    return _measured(f"{record.name!a}", number)


def _measured(where: str, number: float) -> float:
    if not math.isfinite(number):
        raise BadReadingError(where, "is not a finite number", "send null, or leave it out")
    return number


_READERS = {"application/json": _from_plain, "application/senml+json": _from_senml}
