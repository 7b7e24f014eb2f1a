"""When a daily message is due on the farm's wall clock, across its zone's clock changes."""

from bisect import bisect_left
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def due(*, now: int, wall: time, zone: ZoneInfo, within_s: int) -> int | None:
    """Return the instant a daily message is due at, while ``now`` is at most ``within_s`` past it.

    None when nothing is due. Epoch seconds.
    """
    today = datetime.fromtimestamp(now, zone).date()
    for day in (today, today - timedelta(days=1)):
        instant = wall_instant(day, wall, zone)
        if instant <= now < instant + within_s:
            return instant
    return None


def wall_instant(day: date, wall: time, zone: ZoneInfo) -> int:
    """Return the instant the wall clock shows a time on a day. Epoch seconds.

    A time the clock skips is the first instant after the gap; one it shows twice is the first.
    """
    before = datetime.combine(day, wall.replace(fold=0), zone)
    after = datetime.combine(day, wall.replace(fold=1), zone)
    # In a gap the two readings disagree the other way round than in a repeated hour (PEP 495).
    early, late = int(after.timestamp()), int(before.timestamp())
    if early >= late:
        return late
    changed = after.utcoffset()
    return bisect_left(range(late), True, lo=early, key=lambda at: _offset(at, zone) == changed)


def _offset(at: int, zone: ZoneInfo) -> timedelta | None:
    return datetime.fromtimestamp(at, UTC).astimezone(zone).utcoffset()
