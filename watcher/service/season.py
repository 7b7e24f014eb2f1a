"""Past seasons through the same judgement: how long each field was open, and what took the rest."""

from collections.abc import Collection, Iterator, Sequence
from datetime import datetime

import numpy as np
from sqlalchemy.orm import Session

from watcher.judge.farm_judgement import PlainLook, judge_each
from watcher.judge.season import Tally, tally
from watcher.limits.catalogue import CATALOGUE, Looks
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.service.history import past_hours
from watcher.weather.bins import HOUR_S
from watcher.weather.series import Seconds

DAY_S = 24 * HOUR_S
BLOCK_S = 28 * DAY_S
_LOOKS_BACK_S = 2 * DAY_S
"""A morning is judged by the night before it."""


def add_up(
    session: Session,
    plan: FarmArrays,
    start: int,
    end: int,
    *,
    months: Collection[int] = (),
    block_s: int = BLOCK_S,
) -> Tally:
    """Judge every hour of ``start <= time < end`` and add up, in the given months only, if any.

    Months are those of the farm's calendar, 1 to 12. Judged in blocks, so that a decade takes no
    more memory than a month; each sees as far back and ahead as a judgement of its hours needs.
    """
    back_s, ahead_s = _reach(plan)
    whole = Tally.empty(plan)
    for first in range(start // HOUR_S * HOUR_S, end, block_s):
        last = min(first + block_s, end)
        if months and not _in_months(np.arange(first, last, HOUR_S), plan, months).any():
            continue
        looks = list(_looks(session, plan, first - back_s, last + ahead_s))
        whole += _tally(plan, looks, first, last, months)
    return whole


def _looks(session: Session, plan: FarmArrays, start: int, end: int) -> Iterator[PlainLook]:
    """Yield the hours as the fields had them.

    Nothing is expected: a thermometer put up this year is not missed in the years before.
    """
    for stations, fields in plan.listens.items():
        series = past_hours(session, plan.farm, start, end, stations)
        yield PlainLook(fields, series, _uncertainty(plan, stations))


def _tally(
    plan: FarmArrays, looks: Sequence[PlainLook], first: int, last: int, months: Collection[int]
) -> Tally:
    judgement = judge_each(plan, looks)
    times = judgement.series.times
    counted = (times >= first) & (times < last)
    if months:
        counted &= _in_months(times, plan, months)
    return tally(judgement, counted)


def _reach(plan: FarmArrays) -> tuple[int, int]:
    """How far back and ahead of an hour its judgement looks, in whole hours. [s]"""

    def longest(looks: Looks) -> float:
        lows = [b.low for limit, b in plan.bounds.items() if CATALOGUE[limit].looks is looks]
        needs = np.concatenate([np.zeros(1), *lows])
        # A need for dry hours counts in full only when there is room to come near it.
        return float(2 * np.max(needs, where=np.isfinite(needs), initial=0.0))

    back = max(_LOOKS_BACK_S, longest(Looks.BACK))
    ahead = (
        float(plan.duration_s.max()) + max(longest(Looks.AHEAD), plan.rules_look_ahead_s) + HOUR_S
    )
    return int(np.ceil(back / HOUR_S)) * HOUR_S, int(np.ceil(ahead / HOUR_S)) * HOUR_S


def _uncertainty(plan: FarmArrays, stations: Sequence[str]) -> float:
    sources = (plan.farm.config.sources[name] for name in stations)
    return next((s.wind_uncertainty for s in sources if "wind" in s.measures), 0.0)


def _in_months(times: Seconds, plan: FarmArrays, months: Collection[int]) -> Bools:
    zone = plan.farm.zone
    return np.array([datetime.fromtimestamp(int(t), zone).month in months for t in times])
