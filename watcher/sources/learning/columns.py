"""What a file, an answer or a message holds, as named columns of values as they were written."""

import contextlib
import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from watcher.i18n.message import Message, say
from watcher.sources import json_text
from watcher.sources.json_text import finite
from watcher.sources.stations import senml, senml_packs
from watcher.sources.stations.bad_reading import BadReadingError
from watcher.sources.stations.readings import FORM, PLAIN, READERS
from watcher.sources.stations.rows import number

Form = Literal["csv", "json", "senml"]
MOST_ROWS = 500
"""So many rows are looked at, the last ones."""
_WHOLE_JSON, _STREAMED_JSON = "application/senml+json", "application/sensml+json"
_STREAMED_CBOR = "application/sensml+cbor"
"""Reads packs that have an end as well."""
_CBOR_ARRAYS = {bytes([first]) for first in range(0x80, 0xA0)}
"""First bytes of an array in CBOR (RFC 8949, section 3.1): none of them begins a text."""
_PAIRS = re.compile(r"[^\s=&;,]+=[^\s=&]*(&[^\s=&]+=[^\s=&]*)+")
"""A form: names and values (application/x-www-form-urlencoded)."""
_MOST_HEADER = 20
_MOST_DEPTH = 4
_PLAIN = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


@dataclass(frozen=True)
class Sample:
    """What was sent. ``columns`` maps a name, as an entry of the farm file would call it, to the
    texts or numbers that stand there, one a row; ``units`` what the sample itself says of some.
    """

    form: Form
    columns: Mapping[str, Sequence[object]]
    units: Mapping[str, str]
    rows: int
    delimiter: str = ","
    decimal: str = "."
    header_rows: int = 0
    names_row: int = 1
    readings: str | None = None
    """Where a JSON body holds its list of readings, None for the body itself."""
    is_list: bool = False
    content_type: str = ""
    """As what a station would post it; empty for a table."""


class UnknownFormError(ValueError):
    """It is nothing that can be learned; the text says why."""

    def __init__(self, text: Message) -> None:
        super().__init__(text)
        self.text = text


def read_sample(body: bytes, *, now: int) -> Sample:
    """Return what a body holds, by its looks; ``UnknownFormError``."""
    if body[:1] in _CBOR_ARRAYS:
        return _posted(body, _STREAMED_CBOR, now)
    text = body.decode("utf-8-sig", errors="replace").strip()
    if not text:
        raise UnknownFormError(say("it is empty"))
    if text[0] in "[{":
        return _json(body, now)
    if _PAIRS.fullmatch(text):
        return _posted(body.strip(), FORM, now)
    return _csv(text)


def _json(body: bytes, now: int) -> Sample:
    try:
        return _of_json(json_text.loads(body), PLAIN, now)
    except UnknownFormError:
        raise
    except ValueError as error:
        with contextlib.suppress(UnknownFormError):
            return _posted(body, _STREAMED_JSON, now)  # records without an end, one a line
        raise UnknownFormError(
            say("it looks like JSON and is none: {why}", why=str(error))
        ) from error


def _posted(body: bytes, kind: str, now: int) -> Sample:
    """Return what a body of a content type other than plain JSON holds."""
    try:
        return _of_json(READERS[kind](body), kind, now)
    except BadReadingError as error:
        raise UnknownFormError(say("it cannot be read: {why}", why=str(error))) from error


def _of_json(found: object, kind: str, now: int) -> Sample:
    records = _senml(found, now)
    if records is not None:
        packed = kind if kind in senml_packs.READERS else _WHOLE_JSON
        return replace(records, content_type=packed)
    where, readings = _readings(found)
    readings = readings[-MOST_ROWS:]
    rows = [dict(_flat(each, "", 0)) for each in readings if isinstance(each, Mapping)]
    if not any(rows):
        raise UnknownFormError(say("it is JSON without an object that holds values"))
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = {name: [row.get(name) for row in rows] for name in names}
    listed = where is not None or isinstance(found, list)
    return Sample("json", columns, {}, len(rows), readings=where, is_list=listed, content_type=kind)


def _senml(found: object, now: int) -> Sample | None:
    try:
        records = list(senml.resolve(found, now=now))
    except BadReadingError:
        return None
    columns: dict[str, list[object]] = {}
    units: dict[str, str] = {}
    for record in records:
        name = re.split("[:/]", record.name)[-1]
        value = record.value if record.text is None else record.text
        columns.setdefault(name, []).append(value)
        if record.unit in senml.UNITS:
            units[name] = senml.UNITS[record.unit]
    rows = max((len(values) for values in columns.values()), default=0)
    return Sample("senml", columns, units, rows) if columns else None


def _readings(found: object) -> tuple[str | None, Sequence[object]]:
    """Return where the list of readings stands, and the readings: the body, or its longest list."""
    if isinstance(found, list):
        return None, found
    if isinstance(found, Mapping):
        lists = {
            key: value
            for key, value in found.items()
            if isinstance(value, list) and value and all(isinstance(v, Mapping) for v in value)
        }
        if lists:
            key = max(lists, key=lambda name: len(lists[name]))
            return key, lists[key]
    return None, [found]


def _flat(value: object, path: str, depth: int) -> list[tuple[str, object]]:
    if isinstance(value, Mapping) and depth < _MOST_DEPTH:
        return [
            pair
            for key, inner in value.items()
            for pair in _flat(inner, _step(path, str(key)), depth + 1)
        ]
    plain = isinstance(value, str) or value is None or finite(value) is not None
    return [(path, value)] if path and plain else []


def _step(path: str, key: str) -> str:
    """Return a JMESPath step; at the top a key goes by its name, whatever it is."""
    if not path:
        return key
    quoted = key if _PLAIN.fullmatch(key) else f'"{key}"'
    is_path = path.startswith('"') or _PLAIN.fullmatch(path.partition(".")[0])
    head = path if is_path else f'"{path}"'
    return f"{head}.{quoted}"


def _csv(text: str) -> Sample:
    lines = [line for line in text.splitlines() if line.strip()]
    delimiter = max(";\t,| ", key=lambda mark: _regular(lines, mark))
    if _regular(lines, delimiter) == 0:
        raise UnknownFormError(say("it has no columns that a delimiter parts"))
    split = [[part.strip() for part in _parts(line, delimiter)] for line in lines]
    width = max((len(row) for row in split[-20:]), default=0)
    decimal = "," if delimiter != "," and _commas(split) else "."
    header = _header_rows(split, width, decimal)
    names_row = next((n for n, row in enumerate(split[:header], 1) if _names(row, width)), 0)
    rows = [row for row in split[header:] if len(row) == width][-MOST_ROWS:]
    if not rows:
        raise UnknownFormError(say("it has no row of values"))
    names = split[names_row - 1] if names_row else [str(n) for n in range(1, width + 1)]
    columns = {name: [row[index] for row in rows] for index, name in enumerate(names) if name}
    below = split[names_row] if names_row and names_row < header else []
    units = {name: unit for name, unit in zip(names, below, strict=False) if unit}
    return Sample(
        "csv",
        columns,
        units,
        len(rows),
        delimiter=delimiter,
        decimal=decimal,
        header_rows=header,
        names_row=max(names_row, 1),
    )


def _parts(line: str, delimiter: str) -> list[str]:
    return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])


def _regular(lines: Sequence[str], delimiter: str) -> float:
    """How well a delimiter parts the lines: the columns most lines have, times how many have."""
    counts = [len(_parts(line, delimiter)) for line in lines[-50:]]
    usual = max(set(counts), key=counts.count)
    return 0.0 if usual < 2 else counts.count(usual) / len(counts) * min(usual, 6)


def _commas(split: Sequence[Sequence[str]]) -> bool:
    """Whether numbers have a decimal comma."""
    cells = [cell for row in split[-20:] for cell in row]
    return any(re.fullmatch(r"-?\d+,\d+", cell) for cell in cells)


def _header_rows(split: Sequence[Sequence[str]], width: int, decimal: str) -> int:
    for index, row in enumerate(split[:_MOST_HEADER]):
        numeric = sum(number(cell.replace(decimal, ".")) is not None for cell in row)
        if len(row) == width and numeric >= max(1, len(row) // 3):
            return index
    return 1


def _names(row: Sequence[str], width: int) -> bool:
    names = [cell for cell in row if cell]
    return len(row) == width and len(names) >= width - 1 and len(set(names)) == len(names)
