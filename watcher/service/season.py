"""Past seasons through the same judgement: how long each field was open, and what took the rest."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlalchemy.orm import Session

from watcher.judge.farm_judgement import judge_each
from watcher.judge.plan import Bools, Plan
from watcher.judge.season import Tally, tally
from watcher.judge.status import Limit
from watcher.service.past import past_hours
from watcher.weather.bins import HOUR_S
from watcher.weather.series import Seconds, WeatherSeries

DAY_S = 24 * HOUR_S
BLOCK_S = 28 * DAY_S
_LOOKS_BACK_S = 2 * DAY_S
"""A morning is judged by the night before it."""


def add_up(
    session: Session,
    plan: Plan,
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


@dataclass(frozen=True)
class _Past:
    """Past hours as some fields had them."""

    fields: tuple[str, ...]
    series: WeatherSeries
    wind_uncertainty_m_s: float

    @property
    def expects(self) -> Mapping[str, Bools]:
        """Nothing: a thermometer put up this year is not missed in the years before."""
        return {}


def _looks(session: Session, plan: Plan, start: int, end: int) -> Iterator[_Past]:
    for stations, fields in plan.listens.items():
        series = past_hours(session, plan.farm, start, end, stations)
        yield _Past(fields, series, _uncertainty(plan, stations))


def _tally(
    plan: Plan, looks: Sequence[_Past], first: int, last: int, months: Collection[int]
) -> Tally:
    judgement = judge_each(plan, looks)
    times = judgement.series.times
    counted = (times >= first) & (times < last)
    if months:
        counted &= _in_months(times, plan, months)
    return tally(judgement, counted)


def _reach(plan: Plan) -> tuple[int, int]:
    """How far back and ahead of an hour its judgement looks, in whole hours. [s]"""

    def longest(limit: Limit) -> float:
        low = plan.bounds[limit].low if limit in plan.bounds else np.zeros(1)
        # A rain-free need counts in full only when there is room to come near it.
        return float(2 * np.max(low, where=np.isfinite(low), initial=0.0))

    back = max(_LOOKS_BACK_S, longest(Limit.RAIN_BEFORE))
    ahead = float(plan.duration_s.max()) + longest(Limit.RAIN_AFTER) + HOUR_S
    return int(np.ceil(back / HOUR_S)) * HOUR_S, int(np.ceil(ahead / HOUR_S)) * HOUR_S


def _uncertainty(plan: Plan, stations: Sequence[str]) -> float:
    told = (plan.farm.told.sources[name] for name in stations)
    return next((s.wind_uncertainty for s in told if "wind" in s.measures), 0.0)


def _in_months(times: Seconds, plan: Plan, months: Collection[int]) -> Bools:
    zone = plan.farm.zone
    return np.array([datetime.fromtimestamp(int(t), zone).month in months for t in times])
