"""Aerodrome reports (METAR and SPECI, WMO FM 15) from an address or a file.

What a report does not say is unknown, or known by its rules to lie within bounds
(``metar_groups``); calm and variable wind have no direction. Pressure is reduced to sea
level in these reports and is left out. The mean is over ten minutes, in the United States over two.
"""

import asyncio
import math
import os
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Protocol

from metar.Metar import Metar

from watcher.sources.base import Polled, SourceError
from watcher.sources.body_reader import BodyReader, InPlace
from watcher.sources.http import FeedClient
from watcher.sources.stations.metar_groups import cloud, wind
from watcher.sources.stations.rows import Rows, observations
from watcher.weather.air import humidity
from watcher.weather.series import Site
from watcher.written_secrets import masked

OLDEST_S = 36 * 3600
"""Older reports are passed over: day and hour alone do not date them safely (no source)."""
AHEAD_S = 3600
"""A report may be dated so much ahead of the clock that it is read by; else it is last month's."""
TAIL_BYTES = 8192
"""Of a file only the end is read: a day or two of reports, so that none can be a month old."""
REMEMBERED = 512
LONGEST = 1500
"""Characters of a report that are read; they have a tenth of it (no source)."""
TITLE_CHARACTERS = 40
"""So much before a report tells what it is: its title and what is said of it."""

Dated = dict[str, int]
"""When a report, known by its text, was made [epoch seconds]."""

_HEAD = re.compile(
    r"\b(?P<station>[A-Z][A-Z0-9]{3})\s+(?P<day>\d\d)(?P<hour>\d\d)(?P<minute>\d\d)Z\b"
)
_FORECAST = re.compile(r"\bTAF(\s+(AMD|COR))*\s*$")
_TITLE = re.compile(r"\s*=?\s*\b(METAR|SPECI|TAF)(\s+(COR|AMD))*\s*$")


@dataclass(frozen=True)
class MetarText:
    """Reports as text; every one in it was made at or before ``read_at`` (epoch seconds)."""

    body: bytes
    where: str
    read_at: int


class Texts(Protocol):
    """Where the text comes from."""

    async def read(self, now: int) -> MetarText:
        """Return the text as it stands; raises ``SourceError``."""
        ...


@dataclass(frozen=True)
class FromAddress:
    """Text from a web address."""

    client: FeedClient
    url: str

    async def read(self, now: int) -> MetarText:
        """Return the text; raises ``SourceError``."""
        return MetarText(await self.client.text(self.url), masked(self.url), now)


@dataclass(frozen=True)
class FromFile:
    """Text from a file that others write."""

    path: Path

    async def read(self, now: int) -> MetarText:
        """Return the end of the file; raises ``SourceError``."""
        try:
            return await asyncio.to_thread(self._read, now)
        except OSError as error:
            raise SourceError(
                f"{self.path} cannot be read ({error.strerror}); check the path and who may read it"
            ) from error

    def _read(self, now: int) -> MetarText:
        with self.path.open("rb") as file:
            state = os.fstat(file.fileno())
            file.seek(max(0, state.st_size - TAIL_BYTES))
            body = file.read(TAIL_BYTES)
        return MetarText(body, str(self.path), min(now, int(state.st_mtime)))


class MetarSource:
    """The reports of one aerodrome, ``station`` being its location indicator."""

    attribution = ""

    def __init__(
        self,
        *,
        name: str,
        station: str,
        texts: Texts,
        every_s: float,
        site: Site,
        reader: BodyReader | None = None,
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._station = station
        self._texts = texts
        self._site = site
        self._reader = reader or InPlace()
        self._dated: Dated = {}

    async def poll(self, now: int) -> Polled:
        """Return the reports that the text holds. Raises ``SourceError``."""
        text = await self._texts.read(now)
        work = partial(rows_of, text, self._station, self._dated, now)
        rows, self._dated = await self._reader.read(work, size=len(text.body))
        if not rows:
            raise SourceError(
                f"{text.where} holds no report of {self._station} with values of the last "
                f"{OLDEST_S // 3600} h; check that it is kept up to date"
            )
        return Polled(observations(rows, now=now, site=self._site, source=self.name))


def rows_of(text: MetarText, station: str, dated: Dated, now: int) -> tuple[Rows, Dated]:
    """Return what the reports of a station say, and when each was made, for the next time.

    A report is dated once: the same text a month later is not a new one. Raises ``SourceError``
    for a text without any.
    """
    found = [
        report
        for report in reports(text.body.decode("ascii", errors="replace"))
        if report.station == station
    ]
    if not found:
        raise SourceError(
            f"{text.where} holds no report of {station}; check the address and station"
        )
    rows: Rows = {}
    dated = dict(dated)
    for report in sorted(found, key=lambda report: report.corrected):
        time = dated.get(report.text) or report.time(text.read_at)
        if time is None:
            continue
        dated[report.text] = time
        if now - time <= OLDEST_S:
            row = report.values(time)
            if row:
                rows[time] = rows.get(time, {}) | row
    return rows, dict(list(dated.items())[-REMEMBERED:])


@dataclass(frozen=True)
class Report:
    """One report, from its station on, and its day of the month, hour and minute."""

    text: str
    station: str
    day: int
    hour: int
    minute: int
    corrected: bool

    def time(self, read_at: int) -> int | None:
        """Return when it was made, the last such time before it was read; None if never."""
        latest = datetime.fromtimestamp(read_at + AHEAD_S, UTC)
        for back in range(3):  # February may have no such day
            first = (latest.replace(day=1) - timedelta(days=28 * back)).replace(day=1)
            try:
                made = first.replace(
                    day=self.day, hour=self.hour, minute=self.minute, second=0, microsecond=0
                )
            except ValueError:
                continue
            if made <= latest:
                return int(made.timestamp())
        return None

    def values(self, time: int) -> dict[str, float]:
        """Return what it says, in SI; ``time`` is when it was made."""
        made = datetime.fromtimestamp(time, UTC)
        with warnings.catch_warnings():  # of every group that the library does not know
            warnings.simplefilter("ignore", RuntimeWarning)
            read = Metar(self.text, month=made.month, year=made.year, strict=False)
        row = wind(self.text) | cloud(self.text)
        if read.temp is not None:
            row["temp_c"] = read.temp.value("C")
        if read.dewpt is not None:
            row["dew_point_c"] = read.dewpt.value("C")
        if read.temp is not None and read.dewpt is not None:
            row["humidity_pct"] = float(
                humidity(temp_c=row["temp_c"], dew_point_c=row["dew_point_c"])
            )
        return {name: value for name, value in row.items() if not math.isnan(value)}


def reports(text: str) -> Iterator[Report]:
    """Yield every report in a text, of any station; forecasts (TAF) are none."""
    heads = list(_HEAD.finditer(" ".join(text.split())))
    text = heads[0].string if heads else ""
    ends = [head.start() for head in heads] + [len(text)]
    for head, end in zip(heads, ends[1:], strict=True):
        before = text[max(0, head.start() - TITLE_CHARACTERS) : head.start()]
        if not _FORECAST.search(before):
            body = text[head.start() : end]
            if len(body) > LONGEST:
                body = body[:LONGEST].rpartition(" ")[0]
            body = _TITLE.sub("", body.rstrip())
            yield Report(
                text=" ".join(body.split()),
                station=head["station"],
                day=int(head["day"]),
                hour=int(head["hour"]),
                minute=int(head["minute"]),
                corrected=bool(re.search(r"\bCOR\s+$", before)) or " COR " in body,
            )
