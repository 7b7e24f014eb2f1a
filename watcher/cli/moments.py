"""Moments and stretches of time as a command is given them, and the sources it may name."""

import time
from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

import typer
from sqlalchemy.orm import Session

from watcher.cli.opening import err, stop
from watcher.farm import Farm
from watcher.store import aggregates

From = Annotated[str, typer.Option("--from", help="First moment, 2026-06-01 or with a time.")]
To = Annotated[str, typer.Option("--to", help="Moment after the last, in the same way.")]


def stretch(start: str, end: str, farm: Farm) -> tuple[int, int]:
    """Return the epoch seconds of ``--from`` and ``--to``, or stop where they are none."""
    first, last = _moment(start, "--from", farm), _moment(end, "--to", farm)
    if last <= first:
        stop(f"--to {end} is not after --from {start}; swap them")
    return first, last


def remembered(session: Session, start: int, end: int, farm: Farm) -> tuple[int, int]:
    """Return the part of a stretch that has been and of which the log knows, or stop without any.

    Says so where the log begins later.
    """
    begins, now = aggregates.beginning(session), int(time.time())
    if begins is None:
        stop("the log is empty; 'watcher sources' tells who was heard")
    if start >= now:
        stop("--from is in the future; nothing is known of that time yet")
    if end <= begins:
        stop(f"--to is before the log begins, on {_day(begins, farm)}; name a later time")
    if begins > start:
        err.print(f"The log begins on {_day(begins, farm)}; the time before is left out.")
    return max(start, begins), min(end, now)


def _day(at: int, farm: Farm) -> str:
    return f"{datetime.fromtimestamp(at, farm.zone):%Y-%m-%d %H:%M}"


def known(names: Sequence[str], there: Sequence[str], what: str) -> list[str]:
    """Return the names told, all that are there when none was told; stop at one that is not."""
    unknown = [name for name in names if name not in there]
    if unknown:
        stop(f"no {what} {unknown[0]!r}; the farm file has {', '.join(there) or 'none'}")
    return list(names) or list(there)


def _moment(text: str, option: str, farm: Farm) -> int:
    """Read a moment on the farm's clock, or with the offset it is written with."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        stop(f'{option} {text!r} is no date or time; write "2026-06-01" or "2026-06-01T14:30"')
    return int((moment if moment.tzinfo else moment.replace(tzinfo=farm.zone)).timestamp())
