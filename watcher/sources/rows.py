"""Readings as rows by time: how a station's values are gathered before they are weather."""

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np

from watcher.sources.bad_reading import BadReadingError
from watcher.sources.base import Observations
from watcher.sources.quality import future_flags
from watcher.weather.series import Site, WeatherSeries

EARLIEST = int(datetime(2000, 1, 1, tzinfo=UTC).timestamp())
"""An older time means that the station's clock was never set (common practice, no source)."""
LATEST_AHEAD_S = 86_400
"""A time further ahead is refused; nearer, it is taken and flagged (no source)."""
REMEMBERED = 4096
"""Times that ``Merged`` remembers: more than an hour of one a second."""

Rows = dict[int, dict[str, float]]
"""Values in SI by epoch second and name in ``WeatherSeries``; what is missing is left out."""

_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")


def observations(
    rows: Mapping[int, Mapping[str, float]], *, now: int, site: Site, source: str
) -> Observations:
    """Return the rows as observations sorted by time, those from ahead of ``now`` flagged."""
    times = np.array(sorted(rows), dtype=np.int64)
    names = sorted({name for row in rows.values() for name in row})
    arrays = {name: [rows[int(t)].get(name, np.nan) for t in times] for name in names}
    series = WeatherSeries.of(times, site, source, arrays)
    return Observations(series, future_flags(times, names, now))


def believed(where: str, time: float, now: int) -> int:
    """Return a station's time in whole seconds; ``BadReadingError`` for one that cannot be."""
    if not EARLIEST <= time <= now + LATEST_AHEAD_S:
        raise BadReadingError(
            where, f"{time:.0f} s since 1970 cannot be", "set the station's clock to UTC"
        )
    return math.floor(time)


def shifted(rows: Rows, ahead_s: float) -> Rows:
    """Return the rows of a station whose clock runs ahead by so much at their true times."""
    return {math.floor(time - ahead_s): row for time, row in rows.items()}


def number(text: str) -> float | None:
    """Return a number written as text with a decimal point, None for anything else.

    Python's own reader takes "nan", "inf" and "1_000" as well.
    """
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if math.isfinite(value) else None


class Merged:
    """What a station said of each of the last seconds, put together from message after message.

    The log keeps one row a second whole; a station that sends its wind and its temperature apart
    would otherwise lose the one to the other.
    """

    def __init__(self) -> None:
        self._rows: Rows = {}

    def with_(self, rows: Rows) -> Rows:
        """Return the rows with what was said of their times before."""
        for time, row in rows.items():
            self._rows[time] = self._rows.get(time, {}) | row
        merged = {time: self._rows[time] for time in rows}
        if len(self._rows) > REMEMBERED:
            self._rows = {time: self._rows[time] for time in sorted(self._rows)[-REMEMBERED:]}
        return merged
