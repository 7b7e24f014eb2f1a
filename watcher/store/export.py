"""Readings as a table other programs read: comma-separated or Parquet, SI, UTC.

One row a reading, by source and time. A missing value is an empty cell; ``flags`` says which values
quality control doubts and why. Memory does not grow with the range: read in a ``Database.reading``
session.
"""

import csv
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from sqlalchemy import select
from sqlalchemy.orm import Session

from watcher.store import parquet, qartod
from watcher.store.flag_words import flag_words, flags_of
from watcher.store.tables import Observation
from watcher.weather.quantities import CATALOGUE
from watcher.weather.series import QUANTITIES

SOURCE, TIME, FLAGS = "source", "time (UTC)", "flags"
HEADINGS = {quantity.column: quantity.heading for quantity in CATALOGUE}
_ROWS_AT_ONCE = 1000


def write_observations(
    session: Session,
    sources: Iterable[str],
    start: int,
    end: int,
    out: TextIO,
    *,
    with_qartod: bool = False,
) -> int:
    """Write the readings with ``start <= time < end`` of each source; return how many.

    A file must be opened with ``newline=""``. ``with_qartod`` adds a column for each quantity with
    its primary flag of IOOS QARTOD.
    """
    lines = csv.writer(out)
    headings = [HEADINGS[name] for name in QUANTITIES]
    more = [heading + qartod.ENDING for heading in headings] if with_qartod else []
    lines.writerow([SOURCE, TIME, *headings, FLAGS, *more])
    written = 0
    for source, time, values, flags in _rows(session, sources, start, end):
        found = flags_of(flags) if with_qartod else {}
        named = zip(QUANTITIES, values, strict=True) if with_qartod else ()
        primary = [qartod.primary_flag(value, found.get(name, 0)) for name, value in named]
        lines.writerow([source, utc(time), *values, flags, *primary])
        written += 1
    return written


def write_parquet(
    session: Session, sources: Iterable[str], start: int, end: int, file: Path
) -> int:
    """Write the same to a Parquet file; return how many readings. Raises ``NoParquetError``.

    Columns carry the names of ``QUANTITIES``; each one's unit is in its metadata too.
    """
    return parquet.write(file, HEADINGS, _rows(session, sources, start, end))


def _rows(session: Session, sources: Iterable[str], start: int, end: int) -> Iterator[parquet.Row]:
    for source in sources:
        found = session.execute(
            select(
                Observation.time,
                Observation.flags,
                *(getattr(Observation, name) for name in QUANTITIES),
            )
            .where(Observation.source == source, Observation.time >= start, Observation.time < end)
            .order_by(Observation.time)
            .execution_options(yield_per=_ROWS_AT_ONCE)
        )
        for time, flags, *values in found:
            yield source, time, values, flag_words(flags or {})


def utc(time: int) -> str:
    """Return a time as tables have it: ``2026-06-12T12:55:00Z``."""
    return datetime.fromtimestamp(time, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
