"""Archived forecasts of a feed, to begin with experience: read from a table or from Open-Meteo.

Two forms: a CSV table (also .gz) with a row for each run and hour, and the answer of Open-Meteo's
previous runs (hourly variables ending in ``_previous_day1`` to ``7``: what was foretold so many
days before). Both answer one question: what was in hand at a moment.
"""

import csv
import gzip
import json
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol, TextIO, cast

import numpy as np

from watcher.sources.feeds import open_meteo
from watcher.sources.stations.rows import number
from watcher.units import Kind, convert
from watcher.weather.quantities import in_unit
from watcher.weather.series import Site, WeatherSeries
from watcher.weather.wind import speed_from

_HOUR_S, _DAY_S = 3600, 86_400
OLDEST_ISSUE_S = _DAY_S
EAST, NORTH = "wind_east", "wind_north"
"""Names of the components of a wind, towards east and north, where a table has these."""
_PREVIOUS = re.compile(r"^(?P<name>.+)_previous_day(?P<day>[1-7])$")


class BadArchiveError(ValueError):
    """A file is no archive of forecasts; the text says where, what and what to do."""


class Archive(Protocol):
    """Forecasts of one feed at one place, as they were given."""

    @property
    def first(self) -> int:
        """The first moment at which something was in hand. [epoch s]"""
        ...

    def in_hand(self, known_at: int) -> Sequence[WeatherSeries]:
        """Return what was in hand at a moment; of two that tell of an hour the later one counts."""
        ...


@dataclass(frozen=True)
class Issues:
    """Runs by when they were known."""

    known: Mapping[int, WeatherSeries]

    @property
    def first(self) -> int:
        """When the first run was known. [epoch s]"""
        return min(self.known)

    def in_hand(self, known_at: int) -> Sequence[WeatherSeries]:
        """Return the newest run by then, after what the runs of its day said of hours before it."""
        runs = sorted(at for at in self.known if known_at - OLDEST_ISSUE_S <= at <= known_at)
        if not runs:
            return ()
        newest = self.known[runs[-1]]
        begins = int(newest.times[0])
        return (*(self.known[at].between(0, begins) for at in runs[:-1]), newest)


@dataclass(frozen=True)
class DaysBefore:
    """What was foretold of each hour so many days before it."""

    days: Mapping[int, WeatherSeries]

    @property
    def first(self) -> int:
        """The first hour that was foretold a day before. [epoch s]"""
        return min(int(series.times[0]) for series in self.days.values())

    def in_hand(self, known_at: int) -> Sequence[WeatherSeries]:
        """Return of every hour ahead what was foretold at or before the moment."""
        return tuple(
            series.between(
                0 if day == 1 else known_at + (day - 1) * _DAY_S, known_at + day * _DAY_S
            )
            for day, series in sorted(self.days.items())
        )


@dataclass(frozen=True)
class ArchiveTable:
    """How a table is written: its columns, and how long after its start a run is in hand."""

    run: str
    time: str
    columns: Mapping[str, tuple[str, str]]
    """Heading and unit by quantity; ``wind_east`` and ``wind_north`` for components."""
    known_after_s: int


def read(file: Path, *, table: ArchiveTable, site: Site, feed: str) -> Archive:
    """Return the forecasts of a file; ``BadArchiveError`` for one that is not as it should be.

    ``site`` is where they are for, with the height of their winds.
    """
    name = file.name.removesuffix(".gz")
    with gzip.open(file, "rt") if file.name.endswith(".gz") else file.open(newline="") as lines:
        text = cast("TextIO", lines)
        if name.endswith(".json"):
            return _days_before(text, site, feed)
        return _issues(text, table, site, feed)


def _issues(lines: Iterable[str], table: ArchiveTable, site: Site, feed: str) -> Issues:
    rows = csv.DictReader(lines)
    for heading in (table.run, table.time, *(heading for heading, _ in table.columns.values())):
        if heading not in (rows.fieldnames or ()):
            there = ", ".join(rows.fieldnames or ("nothing",))
            raise BadArchiveError(f"the header has no {heading!a}; it has {there}")
    runs: dict[int, dict[int, dict[str, float]]] = defaultdict(dict)
    for row in rows:
        where = f"line {rows.line_num}"
        run, time = (
            _moment(row[heading], f"{where}, {heading!a}") for heading in (table.run, table.time)
        )
        runs[run][time] = dict(_values(row, table, where))
    if not runs:
        raise BadArchiveError("the table has no rows; it needs one for each run and hour")
    return Issues(
        {run + table.known_after_s: _series(hours, site, feed) for run, hours in runs.items()}
    )


def _values(row: Mapping[str, str], table: ArchiveTable, where: str) -> Iterator[tuple[str, float]]:
    for quantity, (heading, unit) in table.columns.items():
        cell = (row[heading] or "").strip()
        if not cell:
            continue
        value = number(cell)
        if value is None:
            raise BadArchiveError(f"{where}, {heading!a}: {cell[:40]!a} is no number")
        if quantity in (EAST, NORTH):
            yield quantity, convert(value, unit, Kind.SPEED)
        else:
            known = in_unit(quantity, unit)
            yield known.quantity.column, known.si(value)


def _series(hours: Mapping[int, Mapping[str, float]], site: Site, feed: str) -> WeatherSeries:
    times = np.array(sorted(hours), dtype=np.int64)
    names = {name for values in hours.values() for name in values}
    arrays = {n: np.array([hours[t].get(n, np.nan) for t in times.tolist()]) for n in names}
    if EAST in arrays and NORTH in arrays:
        wind, wind_from = speed_from(east_m_s=arrays[EAST], north_m_s=arrays[NORTH])
        arrays |= {"wind_m_s": wind, "wind_from_deg": wind_from}
    return WeatherSeries.of(
        times, site, feed, {n: a for n, a in arrays.items() if n not in (EAST, NORTH)}
    )


def _moment(text: str, where: str) -> int:
    """Return a time; without an offset it is of UTC, in which weather models run."""
    try:
        found = datetime.fromisoformat((text or "").strip().removesuffix(" UTC"))
    except ValueError as error:
        raise BadArchiveError(f"{where}: {text!a} is no time; write 2026-06-12T12:00Z") from error
    return int((found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp())


def _days_before(lines: TextIO, site: Site, feed: str) -> DaysBefore:
    try:
        body = json.load(lines)
        hourly, units = dict(body["hourly"]), dict(body["hourly_units"])
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise BadArchiveError(
            "it is not what Open-Meteo answers: there must be hourly and hourly_units"
        ) from error
    days: dict[int, WeatherSeries] = {}
    for day in sorted({int(m["day"]) for m in map(_PREVIOUS.match, hourly) if m}):
        keys = {
            m["name"]: key for key in hourly if (m := _PREVIOUS.match(key)) and int(m["day"]) == day
        }
        whole = body | {
            "hourly": {"time": hourly.get("time")} | {n: hourly[k] for n, k in keys.items()},
            "hourly_units": {n: units.get(k) for n, k in keys.items() if units.get(k)},
        }
        place = (site.latitude, site.longitude)
        try:
            series = open_meteo.series_of(whole, source=feed, place=place)
        except ValueError as error:
            raise BadArchiveError(f"of {day} days before: {error}") from error
        own = series.site
        days[day] = WeatherSeries.of(
            series.times,
            Site(own.latitude, own.longitude, own.elevation_m, site.wind_height_m),
            feed,
            series.quantities(),
        )
    if not days:
        raise BadArchiveError(
            "hourly has no variable that ends in _previous_day1; ask for the previous runs"
        )
    return DaysBefore(days)
