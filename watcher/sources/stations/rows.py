"""Readings as rows by time: how a station's values are gathered before they are weather."""

import math
import re
from collections.abc import Collection, Mapping
from datetime import UTC, datetime

import numpy as np

from watcher.sources.base import Observations, RainFall
from watcher.sources.quality.check import future_flags
from watcher.sources.stations.bad_reading import UnlikelyTimeError
from watcher.weather.measures import RAIN_FELL, RAIN_TOTAL
from watcher.weather.series import QUANTITIES, Floats, Seconds, Site, WeatherSeries

EARLIEST = int(datetime(2000, 1, 1, tzinfo=UTC).timestamp())
"""An older time means that the station's clock was never set (common practice, no source)."""
LATEST_AHEAD_S = 86_400
"""A time further ahead is refused; nearer, it is taken and flagged (no source)."""

Rows = dict[int, dict[str, float]]
"""Values in SI by epoch second and name in ``WeatherSeries``; what is missing is left out. Rain may
stand under a name of ``weather.measures``, in mm, and what is only bounded under ``at_least`` and
``at_most``."""

# No two parts of it can take the same digit: it takes one look, however long the text.
_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")


def observations(
    rows: Mapping[int, Mapping[str, float]],
    *,
    now: int,
    site: Site,
    source: str,
    ignored: Collection[str] = (),
) -> Observations:
    """Return the rows as observations sorted by time, those from ahead of ``now`` flagged.

    ``ignored`` names what was sent beside and is not read.
    """
    times = np.array(sorted(rows), dtype=np.int64)
    sent = {name for row in rows.values() for name in row}
    names = sorted(sent & set(QUANTITIES))
    arrays = {name: [rows[int(t)].get(name, np.nan) for t in times] for name in names}
    bounds = {
        name: (_column(rows, times, at_least(name)), _column(rows, times, at_most(name)))
        for name in QUANTITIES
        if sent & {at_least(name), at_most(name)}
    }
    series = WeatherSeries.of(times, site, source, arrays, bounds)
    for name in bounds:  # a value that is known counts before what it may be
        series = series.unbounded((name,), np.isfinite(getattr(series, name)))
    flags = future_flags(times, names, now)
    return Observations(series, flags, _rain_fall(rows, times), tuple(ignored))


def at_least(name: str) -> str:
    """Return the name in a row of the least that a quantity may be, where it is not known."""
    return f"{name} at least"


def at_most(name: str) -> str:
    """Return the name of the most."""
    return f"{name} at most"


def _column(rows: Mapping[int, Mapping[str, float]], times: Seconds, name: str) -> Floats:
    return np.array([rows[int(time)].get(name, np.nan) for time in times])


def _rain_fall(rows: Mapping[int, Mapping[str, float]], times: Seconds) -> RainFall | None:
    for name in (RAIN_TOTAL, RAIN_FELL):
        amounts = [(time, rows[time][name]) for time in times.tolist() if name in rows[time]]
        if amounts:
            at, mm = zip(*amounts, strict=True)
            return RainFall(np.array(at, np.int64), np.array(mm), is_total=name == RAIN_TOTAL)
    return None


def believed(where: str, time: float, now: int) -> int:
    """Return a station's time in whole seconds; ``UnlikelyTimeError`` for one that cannot be."""
    if not EARLIEST <= time <= now + LATEST_AHEAD_S:
        raise UnlikelyTimeError(where, time)
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
