"""Who may have which sprayers in a plan, and when they cannot begin a job."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from watcher.farm.planning import Driver, WorkingHours
from watcher.messages.wall_clock import wall_instant
from watcher.planning.choices import Choices
from watcher.planning.day_plan import Crew

_MOST = 200
"""Of more ways to share the sprayers the first so many are looked at."""


@dataclass(frozen=True)
class BusySprayer:
    """A sprayer that is in a job until a moment, in a state; None where that is not known."""

    sprayer: int
    until: int
    state: int | None


def crews(
    choices: Choices, drivers: Mapping[str, Driver], zone: ZoneInfo, held: Sequence[BusySprayer]
) -> tuple[Crew, ...]:
    """Return the ways in which the drivers may have the sprayers, each a way of its own.

    Drivers who may do the same at the same hours are one as good as the other. Where the farm file
    names none, every sprayer has its own.
    """
    if not drivers:
        none, alone = np.zeros(choices.chance.shape, dtype=bool), choices.driven
        return (Crew(("",) * len(alone), alone, none, _busy(choices, alone, held)),)
    may = [
        [name for name, driver in drivers.items() if not driver.sprayers or k in driver.sprayers]
        for k in choices.sprayers
    ]
    off = {name: _off(choices, driver.hours, zone) for name, driver in drivers.items()}
    found: dict[frozenset[object], Crew] = {}
    for number, chosen in enumerate(product(*may)):
        if number == _MOST:
            break
        names = tuple(dict.fromkeys(chosen))
        units = tuple(tuple(k for k, d in enumerate(chosen) if d == name) for name in names)
        alike = frozenset((u, _hours(drivers[n])) for n, u in zip(names, units, strict=True))
        if alike not in found:
            barred = np.array([off[name][k] for k, name in enumerate(chosen)])
            found[alike] = Crew(names, units, barred, _busy(choices, units, held))
    return tuple(found.values())


def _hours(driver: Driver) -> object:
    return None if driver.hours is None else (driver.hours.start, driver.hours.end)


def _off(choices: Choices, hours: WorkingHours | None, zone: ZoneInfo) -> NDArray[np.bool_]:
    """Return the jobs that are not within a driver's hours, to the minute. [K, F, B]"""
    if hours is None:
        return np.zeros(choices.chance.shape, dtype=bool)
    first, last = (datetime.fromtimestamp(int(choices.starts[n]), zone).date() for n in (0, -1))
    within = np.zeros(choices.chance.shape, dtype=bool)
    over = timedelta(days=1 if hours.end <= hours.start else 0)
    for day in (first + timedelta(days=n) for n in range(-1, (last - first).days + 1)):
        begin = wall_instant(day, hours.start, zone)
        end = wall_instant(day + over, hours.end, zone)
        within |= (choices.starts >= begin) & (choices.ends_s <= end)
    return ~within


def _busy(
    choices: Choices, units: Sequence[tuple[int, ...]], held: Sequence[BusySprayer]
) -> NDArray[np.bool_]:
    """Return the jobs before which a unit is not through with a job and the change after it."""
    busy = np.zeros(choices.chance.shape, dtype=bool)
    for job in held:
        for k in next(unit for unit in units if job.sprayer in unit):
            after_s = 0.0 if job.state is None else choices.change_s[job.state][choices.state[k]]
            busy[k] |= choices.starts < job.until + after_s
    return busy
