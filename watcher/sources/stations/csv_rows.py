"""Lines of a station's CSV files as rows by time, each line taken whole or passed over."""

import csv
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from watcher.sources.stations.growing_files import LONGEST_LINE
from watcher.sources.stations.local_times import LocalTimes, newest_first
from watcher.sources.stations.measures import of_text
from watcher.sources.stations.rows import Rows, believed, number
from watcher.weather.measures import Measure

Column = str | int
Fields = list[str]


@dataclass(frozen=True)
class Layout:
    """How files are written. A column goes by its name, or by its number from 1."""

    times: LocalTimes
    time: Sequence[Column]
    quantities: Mapping[str, tuple[Column, Measure]]
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    names_row: int = 1
    missing: Sequence[str] = ("", "NaN", "-9999")
    clock_ahead_s: float = 0.0

    @property
    def named(self) -> list[str]:
        """Every column that goes by its name."""
        columns = [*self.time, *(column for column, _ in self.quantities.values())]
        return [column for column in columns if isinstance(column, str)]

    def fields(self, line: bytes) -> Fields:
        """Return the fields of a line; ``ValueError`` for one that is damaged."""
        # Power cuts leave zeros: around a line they are nothing, within one they hide something.
        bare = line.strip(b"\0")
        if b"\0" in bare:
            raise ValueError("holds zero bytes")
        if len(bare) >= LONGEST_LINE:
            raise ValueError(f"is over {LONGEST_LINE} bytes")
        text = bare.decode(self.encoding).removeprefix("\ufeff")
        try:
            rows = list(csv.reader([text], delimiter=self.delimiter, skipinitialspace=True))
        except csv.Error as error:
            raise ValueError(str(error)) from error
        return [part.strip() for part in rows[0]] if rows else []

    def value(self, text: str, measure: Measure) -> float:
        """Return a value in SI, NaN for what stands for a missing one, or has no direction.

        ``ValueError`` for anything else.
        """
        if text.casefold() in self._missing_words:
            return math.nan
        found = self._number(text)
        if found in self._missing_numbers and found is not None:
            return math.nan
        if found is None and measure.quantity.name != "wind_from":
            raise ValueError(f"{text[:40]!a} is no number")
        said = of_text(measure, text) if found is None else measure.si(found)
        return math.nan if said is None else said

    @cached_property
    def _missing_words(self) -> frozenset[str]:
        return frozenset(word.casefold() for word in self.missing)

    @cached_property
    def _missing_numbers(self) -> frozenset[float | None]:
        return frozenset(self._number(word) for word in self.missing)

    def _number(self, text: str) -> float | None:
        if self.decimal == ".":
            return number(text)
        return None if "." in text else number(text.replace(self.decimal, "."))


@dataclass(frozen=True)
class Known:
    """What is known of a file from before: how many columns it has, and its last row's time."""

    columns: int
    last: int | None = None


@dataclass
class CsvContents:
    """What came of reading: rows, how much could not be read, and the first of that."""

    rows: Rows = field(default_factory=dict)
    amiss: int = 0
    first_amiss: str = ""

    def passed_over(self, why: str) -> None:
        """Note a line or value that could not be read."""
        self.amiss += 1
        self.first_amiss = self.first_amiss or why


class NoSuchColumnError(ValueError):
    """A file lacks a column that the farm file names."""


class CsvReader:
    """Reads pieces of one file after the other into ``contents``."""

    def __init__(self, layout: Layout, contents: CsvContents, now: int) -> None:
        self._layout = layout
        self._contents = contents
        self._now = now

    def read(
        self, where: str, header: Sequence[bytes], lines: Sequence[bytes], known: Known | None
    ) -> Known:
        """Read lines of the file ``where`` and return what is then known of it.

        Raises ``NoSuchColumnError`` when the header lacks a column the farm file names.
        """
        names = self._names(where, header)
        split = [fields for line in lines if (fields := self._fields(where, line))]
        columns = len(names) if names else known.columns if known else _usual_length(split)
        whole = [fields for fields in split if self._is_whole(where, fields, columns)]
        dated = [(time, f) for f in whole if (time := self._time(where, f, names)) is not None]
        if newest_first([time for time, _ in dated]):
            dated.reverse()
        last = known.last if known else None
        for time, fields in dated:
            last = self._row(where, time, fields, names, last)
        return Known(columns, last)

    def _names(self, where: str, header: Sequence[bytes]) -> Fields:
        """Return the columns' names, none where columns go by their numbers."""
        if not self._layout.named:
            return []
        names = self._layout.fields(header[self._layout.names_row - 1].rstrip(b"\r\n"))
        for column in self._layout.named:
            if names.count(column) != 1:
                raise NoSuchColumnError(
                    f"{where} has {names.count(column)} columns {column!r}; "
                    f"there are: {', '.join(names)[:400]}"
                )
        return names

    def _fields(self, where: str, line: bytes) -> Fields:
        try:
            return self._layout.fields(line)
        except ValueError as error:
            self._contents.passed_over(f"{where}: {line[:60]!a}: {error}")
            return []

    def _is_whole(self, where: str, fields: Fields, columns: int) -> bool:
        """Whether a row has its columns: half a line, or two run together, have not."""
        if len(fields) == columns or (len(fields) > columns and not any(fields[columns:])):
            return True
        said = f"{where}: {', '.join(fields)[:60]!a} has {len(fields)} columns, not {columns}"
        self._contents.passed_over(said)
        return False

    def _time(self, where: str, fields: Fields, names: Fields) -> datetime | None:
        text = " ".join(_field(fields, names, column) for column in self._layout.time)
        try:
            return self._layout.times.read(text)
        except (ValueError, OverflowError) as error:
            self._contents.passed_over(f"{where}: {error}")
            return None

    def _row(
        self, where: str, time: datetime, fields: Fields, names: Fields, last: int | None
    ) -> int | None:
        """Take one row; return its time by the station's clock, or ``last`` if it has none."""
        try:
            epoch = self._layout.times.epoch(time, last)
            true_time = believed("its time", epoch - self._layout.clock_ahead_s, self._now)
        except (ValueError, OverflowError) as error:
            self._contents.passed_over(f"{where}: {error}")
            return last
        row = self._values(where, time, fields, names)
        if row:
            self._contents.rows[true_time] = self._contents.rows.get(true_time, {}) | row
        return epoch

    def _values(
        self, where: str, time: datetime, fields: Fields, names: Fields
    ) -> dict[str, float]:
        row = {}
        for name, (column, measure) in self._layout.quantities.items():
            try:
                value = self._layout.value(_field(fields, names, column), measure)
            except ValueError as error:
                self._contents.passed_over(f"{where}: {name} at {time}: {error}")
                continue
            if not math.isnan(value):
                row[measure.column] = value
        return row


def _field(fields: Fields, names: Fields, column: Column) -> str:
    index = column - 1 if isinstance(column, int) else names.index(column)
    return fields[index] if index < len(fields) else ""


def _usual_length(split: Sequence[Fields]) -> int:
    counts = Counter(len(fields) for fields in split)
    return counts.most_common(1)[0][0] if counts else 0
