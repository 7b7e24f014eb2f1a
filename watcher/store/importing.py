"""Readings back from a table as ``watcher.store.export`` writes it, block by block."""

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, groupby, islice
from pathlib import Path
from typing import Any

import numpy as np

from watcher.sources.base import Observations
from watcher.sources.stations.rows import LATEST_AHEAD_S, number
from watcher.store import parquet
from watcher.store.export import FLAGS, HEADINGS, SOURCE, TIME
from watcher.store.flag_words import flags_of
from watcher.store.qartod import ENDING
from watcher.store.rows import flag_arrays
from watcher.weather.series import Site, WeatherSeries

_ROWS_AT_ONCE = 1000
_QUANTITY = {heading: name for name, heading in HEADINGS.items()}


class BadTableError(ValueError):
    """A table is not one of readings; the text says where, what and what to do.

    Blocks before it are good; bringing them in again changes nothing.
    """


@dataclass(frozen=True)
class _Row:
    where: str
    source: str
    time: int
    values: Mapping[str, float]
    flags: Mapping[str, int]


def read_csv(lines: Iterable[str], sites: Mapping[str, Site], now: int) -> Iterator[Observations]:
    """Yield the readings of a comma-separated table, raw and with their flags.

    ``sites`` says of every source that may come where it stands. Open a file with ``newline=""``.
    Raises ``BadTableError``.
    """
    table = csv.reader(lines)
    header = next(table, [])
    # Flags of another scheme say nothing that the checks here do not find anew.
    _check_header(header, {SOURCE, TIME}, {*_QUANTITY, FLAGS, *(h + ENDING for h in _QUANTITY)})
    rows = (
        _csv_row(f"line {table.line_num}", dict(zip(header, cells, strict=False)))
        for cells in table
        if _whole(cells, header, table.line_num)
    )
    return _observations(rows, sites, now)


def read_parquet(file: Path, sites: Mapping[str, Site], now: int) -> Iterator[Observations]:
    """Yield the readings of a Parquet table likewise; also raises ``NoParquetError``."""
    try:
        blocks = parquet.read(file)
        rows = chain.from_iterable(map(_parquet_rows, blocks))
        yield from _observations(rows, sites, now)
    except BadTableError:
        raise
    except ValueError as error:
        raise BadTableError(str(error)) from error


def _check_header(header: Sequence[str], needed: set[str], known: set[str]) -> None:
    missing = sorted(needed - set(header))
    if missing:
        raise BadTableError(f"the header has no {missing[0]!a}; export a table to see how it is")
    strange = [name for name in header if name not in needed | known]
    if strange:
        raise BadTableError(f"column {strange[0]!a} is not known; use {', '.join(sorted(known))}")


def _whole(cells: Sequence[str], header: Sequence[str], line: int) -> bool:
    if cells and len(cells) != len(header):
        raise BadTableError(f"line {line} has {len(cells)} cells, the header {len(header)}")
    return bool(cells)


def _csv_row(where: str, cells: Mapping[str, str]) -> _Row:
    values = {}
    for heading, name in _QUANTITY.items():
        cell = cells.get(heading, "").strip()
        if cell:
            values[name] = _read_cell(f"{where}, {heading!a}", cell, _number)
    return _Row(
        where,
        cells[SOURCE],
        _read_cell(f"{where}, {TIME!a}", cells[TIME].strip(), _moment),
        values,
        _read_cell(f"{where}, {FLAGS!a}", cells.get(FLAGS, ""), flags_of),
    )


def _parquet_rows(columns: Mapping[str, list[Any]]) -> Iterator[_Row]:
    _check_header(list(columns), {"source", "time"}, {*HEADINGS, "flags"})
    for index, (source, time) in enumerate(zip(columns["source"], columns["time"], strict=True)):
        where = f"source {source!a}, time {time}"
        cells = {name: columns[name][index] for name in HEADINGS if name in columns}
        flags = columns["flags"][index] if "flags" in columns else ""
        yield _Row(
            where,
            source,
            time,
            {name: value for name, value in cells.items() if value is not None},
            _read_cell(where, flags or "", flags_of),
        )


def _read_cell(where: str, text: str, reader: Callable[[str], Any]) -> Any:
    try:
        return reader(text)
    except ValueError as error:
        raise BadTableError(f"{where}: {error}") from error


def _number(text: str) -> float:
    value = number(text)
    if value is None:
        raise ValueError(f"{text!a} is no number; leave the cell empty where nothing was measured")
    return value


def _moment(text: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise ValueError(f"{text!a} is no time with its offset; write 2026-06-12T12:55:00Z")
    return int(moment.timestamp())


def _observations(
    rows: Iterable[_Row], sites: Mapping[str, Site], now: int
) -> Iterator[Observations]:
    for source, of_source in groupby(rows, key=lambda row: row.source):
        while block := list(islice(of_source, _ROWS_AT_ONCE)):
            yield _block(source, block, sites, now)


def _block(source: str, rows: Sequence[_Row], sites: Mapping[str, Site], now: int) -> Observations:
    if source not in sites:
        known = ", ".join(sites) or "none"
        raise BadTableError(
            f"{rows[0].where}: no source {source!a} is known here; there are {known}"
        )
    ahead = next((row for row in rows if row.time > now + LATEST_AHEAD_S), None)
    if ahead is not None:
        raise BadTableError(f"{ahead.where}: a reading cannot be of the future; correct its time")
    by_time = {row.time: row for row in rows}  # of two of one time the later one stands
    ordered = [by_time[time] for time in sorted(by_time)]
    names = {name for row in ordered for name in row.values}
    series = WeatherSeries.of(
        [row.time for row in ordered],
        sites[source],
        source,
        {name: [row.values.get(name, np.nan) for row in ordered] for name in names},
    )
    return Observations(series, flag_arrays((row.flags for row in ordered), len(ordered)))
