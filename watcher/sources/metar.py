"""Aerodrome reports (METAR and SPECI, WMO FM 15) from an address or a file.

What a report does not say is unknown: no gust group means that the gust was not ten knots over the
mean, which is no gust of zero; calm and variable wind have no direction. Pressure is reduced to sea
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
from pathlib import Path
from typing import Protocol

from metar.Metar import Metar

from watcher.sources.base import Polled, SourceError
from watcher.sources.http import FeedClient
from watcher.sources.rows import Rows, observations
from watcher.weather.air import humidity
from watcher.weather.series import Site

OLDEST_S = 36 * 3600
"""Older reports are passed over: day and hour alone do not date them safely (no source)."""
AHEAD_S = 3600
"""A report may be dated so much ahead of the clock that it is read by; else it is last month's."""
TAIL_BYTES = 8192
"""Of a file only the end is read: a day or two of reports, so that none can be a month old."""
REMEMBERED = 512

_HEAD = re.compile(
    r"\b(?P<station>[A-Z][A-Z0-9]{3})\s+(?P<day>\d\d)(?P<hour>\d\d)(?P<minute>\d\d)Z\b"
)
_FORECAST = re.compile(r"\bTAF(\s+(AMD|COR))*\s*$")
_TITLE = re.compile(r"\s*=?\s*\b(METAR|SPECI|TAF)(\s+(COR|AMD))*\s*$")
_AFTER_BODY = re.compile(r"\s(RMK|TEMPO|BECMG|NOSIG|FCST)\b")
_WIND = re.compile(r"\s(\d{3}|VRB)P?\d{2,3}(GP?\d{2,3})?(KT|MPS|KMH)(?=\s|$)")


@dataclass(frozen=True)
class Text:
    """Reports as text; every one in it was made at or before ``read_at`` (epoch seconds)."""

    text: str
    where: str
    read_at: int


class Texts(Protocol):
    """Where the text comes from."""

    async def read(self, now: int) -> Text:
        """Return the text as it stands; raises ``SourceError``."""
        ...


@dataclass(frozen=True)
class FromAddress:
    """Text from a web address."""

    client: FeedClient
    url: str

    async def read(self, now: int) -> Text:
        """Return the text; raises ``SourceError``."""
        return Text(await self.client.text(self.url), self.url, now)


@dataclass(frozen=True)
class FromFile:
    """Text from a file that others write."""

    path: Path

    async def read(self, now: int) -> Text:
        """Return the end of the file; raises ``SourceError``."""
        try:
            return await asyncio.to_thread(self._read, now)
        except OSError as error:
            raise SourceError(
                f"{self.path} cannot be read ({error.strerror}); check the path and who may read it"
            ) from error

    def _read(self, now: int) -> Text:
        with self.path.open("rb") as file:
            state = os.fstat(file.fileno())
            file.seek(max(0, state.st_size - TAIL_BYTES))
            text = file.read().decode("ascii", errors="replace")
        return Text(text, str(self.path), min(now, int(state.st_mtime)))


class MetarStation:
    """The reports of one aerodrome, ``station`` being its location indicator."""

    attribution = ""

    def __init__(
        self, *, name: str, station: str, texts: Texts, every_s: float, site: Site
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._station = station
        self._texts = texts
        self._site = site
        self._dated: dict[str, int] = {}

    async def poll(self, now: int) -> Polled:
        """Return the reports that the text holds. Raises ``SourceError``."""
        text = await self._texts.read(now)
        found = [report for report in reports(text.text) if report.station == self._station]
        if not found:
            raise SourceError(
                f"{text.where} holds no report of {self._station}; check the address and station"
            )
        rows = self._rows(found, text.read_at, now)
        if not rows:
            raise SourceError(
                f"{text.where} holds no report of {self._station} with values of the last "
                f"{OLDEST_S // 3600} h; check that it is kept up to date"
            )
        return Polled(observations(rows, now=now, site=self._site, source=self.name))

    def _rows(self, found: list["Report"], read_at: int, now: int) -> Rows:
        rows: Rows = {}
        for report in sorted(found, key=lambda report: report.corrected):
            time = self._time(report, read_at)
            if time is not None and now - time <= OLDEST_S:
                row = report.values(time)
                if row:
                    rows[time] = rows.get(time, {}) | row
        return rows

    def _time(self, report: "Report", read_at: int) -> int | None:
        """Date a report once: the same text a month later is not a new one."""
        if report.text not in self._dated:
            time = report.time(read_at)
            if time is None:
                return None
            self._dated[report.text] = time
            for old in list(self._dated)[:-REMEMBERED]:
                del self._dated[old]
        return self._dated[report.text]


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
        row = self._wind(read)
        if read.temp is not None:
            row["temp_c"] = read.temp.value("C")
        if read.dewpt is not None:
            row["dew_point_c"] = read.dewpt.value("C")
        if read.temp is not None and read.dewpt is not None:
            row["humidity_pct"] = float(
                humidity(temp_c=row["temp_c"], dew_point_c=row["dew_point_c"])
            )
        return {name: value for name, value in row.items() if not math.isnan(value)}

    def _wind(self, read: Metar) -> dict[str, float]:
        # The library takes a group without a unit for one in knots or in m/s, by the station.
        if read.wind_speed is None or not _WIND.search(_AFTER_BODY.split(self.text)[0]):
            return {}
        row = {"wind_m_s": read.wind_speed.value("MPS")}
        if read.wind_gust is not None:
            row["gust_m_s"] = read.wind_gust.value("MPS")
        if read.wind_dir is not None and row["wind_m_s"] > 0:
            row["wind_from_deg"] = read.wind_dir.value()
        return row


def reports(text: str) -> Iterator[Report]:
    """Yield every report in a text, of any station; forecasts (TAF) are none."""
    heads = list(_HEAD.finditer(text))
    ends = [head.start() for head in heads] + [len(text)]
    for head, end in zip(heads, ends[1:], strict=True):
        before = text[: head.start()]
        if not _FORECAST.search(before):
            body = _TITLE.sub("", text[head.start() : end].rstrip())
            yield Report(
                text=" ".join(body.split()),
                station=head["station"],
                day=int(head["day"]),
                hour=int(head["hour"]),
                minute=int(head["minute"]),
                corrected=bool(re.search(r"\bCOR\s+$", before)) or " COR " in body,
            )
