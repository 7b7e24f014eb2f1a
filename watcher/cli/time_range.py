"""Moments and stretches of time as a command is given them."""

import time
from datetime import datetime, timedelta
from datetime import time as clock_time
from typing import Annotated

import typer
from sqlalchemy.orm import Session

from watcher.cli.context import remark, stop
from watcher.farm import Farm
from watcher.i18n.message import say
from watcher.store import aggregates

From = Annotated[str, typer.Option("--from", help="First moment, 2026-06-01 or with a time.")]
To = Annotated[str, typer.Option("--to", help="Moment after the last, in the same way.")]


def stretch(start: str, end: str, farm: Farm) -> tuple[int, int]:
    """Return the epoch seconds of ``--from`` and ``--to``, or stop where they are none."""
    first, last = _moment(start, "--from", farm), _moment(end, "--to", farm)
    if last <= first:
        stop(say("--to {end} is not after --from {start}; swap them", start=start, end=end))
    return first, last


def moment_before(text: str, now: int, farm: Farm) -> int:
    """Return the epoch seconds of ``--at``; a time of day is the last one that has been."""
    try:
        time_of_day = clock_time.fromisoformat(text)
    except ValueError:
        return _moment(text, "--at", farm)
    today = datetime.fromtimestamp(now, farm.zone)
    moment = datetime.combine(today, time_of_day, farm.zone)
    if moment.timestamp() > now:
        moment = datetime.combine(today - timedelta(days=1), time_of_day, farm.zone)
    return int(moment.timestamp())


def remembered(session: Session, start: int, end: int, farm: Farm) -> tuple[int, int]:
    """Return the part of a stretch that has been and of which the log knows, or stop without any.

    Says so where the log begins later.
    """
    begins, now = aggregates.beginning(session), int(time.time())
    if begins is None:
        stop(say("the log is empty; 'watcher sources' tells who was heard"))
    if start >= now:
        stop(say("--from is in the future; nothing is known of that time yet"))
    if end <= begins:
        day = _day(begins, farm)
        stop(say("--to is before the log begins, on {day}; name a later time", day=day))
    if begins > start:
        day = _day(begins, farm)
        remark(say("The log begins on {day}; the time before is left out.", day=day))
    return max(start, begins), min(end, now)


def _day(at: int, farm: Farm) -> str:
    return f"{datetime.fromtimestamp(at, farm.zone):%Y-%m-%d %H:%M}"


def _moment(text: str, option: str, farm: Farm) -> int:
    """Read a moment on the farm's clock, or with the offset it is written with."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        stop(
            say(
                '{option} "{text}" is no date or time; write "2026-06-01" or "2026-06-01T14:30"',
                option=option,
                text=text,
            )
        )
    return int((moment if moment.tzinfo else moment.replace(tzinfo=farm.zone)).timestamp())
