"""A time axis in hours from its beginning, marked by the farm's clock, a day or a year long."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from watcher.weather.series import Floats, Seconds

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST_MARKS = 13
_HOURS = (1, 2, 3, 6, 12)
_DAYS = (1, 2, 4, 7, 14, 30, 91)
_GAP = 3.5
"""More usual steps than this without a value are a gap in a line."""


def hours_from(start: int, times: Seconds) -> Floats:
    """Return times as hours of an axis that begins at ``start``."""
    return (times - start) / 3600.0


def with_gaps(hours: Floats, *columns: Floats) -> tuple[Floats, ...]:
    """Return hours and values with a missing value wherever nothing was known for too long.

    A line through a gap would tell of weather that nobody measured.
    """
    steps = np.diff(hours)
    if not steps.size:
        return (hours, *columns)
    gaps = np.flatnonzero(steps > _GAP * np.median(steps)) + 1
    broken = np.insert(hours, gaps, (hours[gaps - 1] + hours[gaps]) / 2.0)
    return (broken, *(np.insert(column, gaps, np.nan) for column in columns))


def mark_time(panels: "Sequence[Axes]", start: int, end: int, zone: ZoneInfo) -> None:
    """Mark the same hours or days on every panel, and say them below the last one."""
    marks = moments(start, end, zone)
    at = [(int(moment.timestamp()) - start) / 3600.0 for moment in marks]
    for axes in panels:
        axes.set_xlim(0, (end - start) / 3600.0)
        axes.set_xticks(at, ["" for _ in at])
        axes.grid(axis="x", lw=0.4, alpha=0.5)
        axes.set_axisbelow(True)
    words = [_word(moment, first=index == 0) for index, moment in enumerate(marks)]
    panels[-1].set_xticks(at, words)
    panels[-1].set_xlabel(f"Local time ({zone.key})")


def moments(start: int, end: int, zone: ZoneInfo) -> list[datetime]:
    """Whole hours or days on the wall clock, few enough to be read."""
    length_h = (end - start) / 3600.0
    first = datetime.fromtimestamp(start, zone)
    for step in _HOURS:
        if length_h / step <= _MOST_MARKS:
            whole = first.replace(minute=0, second=0, microsecond=0)
            every = timedelta(hours=step)
            begin = whole.replace(hour=whole.hour // step * step)
            return _every(begin, every, start, end)
    days = next((d for d in _DAYS if length_h / 24 / d <= _MOST_MARKS), _DAYS[-1])
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    return _every(midnight, timedelta(days=days), start, end)


def _every(begin: datetime, step: timedelta, start: int, end: int) -> list[datetime]:
    """Wall times a step apart; one that a change of the clocks leaves out is passed over."""
    found, moment = [], begin
    while moment.timestamp() <= end:
        real = datetime.fromtimestamp(moment.timestamp(), moment.tzinfo)
        if moment.timestamp() >= start and real.hour == moment.hour:
            found.append(moment)
        moment += step  # on the wall clock: aware datetimes of one zone add so
    return found


def _word(moment: datetime, *, first: bool) -> str:
    if moment.hour or moment.minute:
        return f"{moment:%H:%M}" + (f"\n{moment:%d %b %Y}" if first else "")
    return f"{moment:%d %b}" + (f"\n{moment:%Y}" if first else "")
