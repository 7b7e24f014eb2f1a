"""The best hours to begin on a field in the next three days: where a job is likeliest to hold."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from watcher.judge.chances import STARTS_AHEAD_S, FarmChances, FieldChance
from watcher.judge.hour_grid import hour_row
from watcher.judge.judgement import Judgement
from watcher.limits.status import Status

_NOON = 12


@dataclass(frozen=True)
class DayStarts:
    """The starts of one day that are best, by the tenths in which chances are said.

    ``best`` is the chance of the first of the longest run of them, ``first_at`` to ``last_at``
    (epoch seconds); None where no hour is foretold to be open. Where not ``known``, of some hours
    of the day nobody can say.
    """

    day: date
    best: FieldChance | None
    first_at: int
    last_at: int
    known: bool


@dataclass(frozen=True)
class _Start:
    at: int
    unknown: bool
    chance: FieldChance | None
    """None where it is not open, or not known."""

    @property
    def tenths(self) -> int:
        odds = None if self.chance is None else self.chance.chance
        return -1 if odds is None else round(10 * odds)


def best_starts(
    judgement: Judgement, now_index: int, chances: FarmChances, field: str
) -> tuple[DayStarts, ...]:
    """Return a field's best starts of every day whose noon lies in the next three days.

    Today is among them as long as something of it is open or unknown. Starts are now and full
    hours, each with the setup that comes first then, as the hours ahead are shown. Empty where no
    chances are known.
    """
    now, plan = int(judgement.series.times[now_index]), judgement.plan
    f = plan.fields.index(field)
    if not chances.parts or chances.old(now) or not plan.allowed[f].any():
        return ()
    zone = plan.farm.zone
    of_day: dict[date, list[_Start]] = {}
    for start in _starts(judgement, now_index, chances, f):
        of_day.setdefault(datetime.fromtimestamp(start.at, zone).date(), []).append(start)
    today, last_known = min(of_day), max(of_day)
    last = datetime.fromtimestamp(now + STARTS_AHEAD_S, zone)
    days = (last.date() - today).days + (last.hour >= _NOON)
    found = (
        _of_day(day, of_day.get(day, ()), whole=day < last_known)
        for day in (today + timedelta(n) for n in range(days))
    )
    return tuple(d for d in found if d.day > today or d.best is not None or not d.known)


def _starts(judgement: Judgement, now_index: int, chances: FarmChances, field: int) -> list[_Start]:
    plan, times = judgement.plan, judgement.series.times
    now, name = int(times[now_index]), plan.fields[field]
    hours = slice(now_index, int(np.searchsorted(times, now + STARTS_AHEAD_S)))
    row = hour_row(judgement, field, hours)
    found = []
    for n, at in enumerate(times[hours].tolist()):
        setup, status = plan.setups[row.setup[n]], Status(int(row.status[n]))
        chance = (
            chances.at_hour(name, setup, at, status) if n else chances.now(name, setup, now, status)
        )
        if chance is not None and chance.chance is None:
            chance = None
        is_open = status >= Status.MARGINAL
        unknown = status is Status.UNKNOWN or (is_open and chance is None)
        found.append(_Start(at, unknown, chance))
    return found


def _of_day(day: date, starts: Sequence[_Start], *, whole: bool) -> DayStarts:
    known = whole and bool(starts) and not any(start.unknown for start in starts)
    most = max((start.tenths for start in starts), default=-1)
    if most < 0:
        return DayStarts(day, None, 0, 0, known)
    runs: list[list[_Start]] = [[]]
    for start in starts:
        if start.tenths == most:
            runs[-1].append(start)
        elif runs[-1]:
            runs.append([])
    longest = max(runs, key=len)
    return DayStarts(day, longest[0].chance, longest[0].at, longest[-1].at, known)
