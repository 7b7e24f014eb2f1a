"""What the last minutes of the wind say is coming for a job: front, trend, chance of a gust."""

import math

import numpy as np

from watcher.judge.plan import Plan
from watcher.judge.status import Limit
from watcher.store.tables import Job
from watcher.weather.nowcast import Nowcast, nowcast
from watcher.weather.series import WeatherSeries
from watcher.weather.wind import wind_at_height

LOOKS_BACK_S = 3600
"""How much of the past it is judged from. [s]"""
SLOWEST_S = 300
"""Readings further apart than this say nothing of the next minutes. [s]"""
_FASTEST_S = 10
_FEWEST = 5
_MEAN_S = 600


def nearing(plan: Plan, job: Job, recent: WeatherSeries) -> Nowcast | None:
    """Judge the wind of a station's last hour against the bounds of a job's field.

    The bounds hold at boom height; here they are brought up to the sensor. None where there are
    too few readings, or they are too far apart.
    """
    if len(recent) < _FEWEST:
        return None
    step_s = float(np.median(np.diff(recent.times)))
    if step_s > SLOWEST_S:
        return None
    field, setup = plan.fields.index(job.field), plan.setups.index(job.setup)
    canopy = plan.canopy_m[field]
    share = float(
        wind_at_height(
            wind_m_s=1.0,
            from_m=recent.site.wind_height_m,
            to_m=canopy + plan.boom_m[setup],
            canopy_m=canopy,
        )
    )
    # A gust keeps its excess over the mean on its way down; see watcher.weather.wind.
    last = recent.between(int(recent.times[-1]) - _MEAN_S, int(recent.times[-1]) + 1).wind_m_s
    mean = float(np.nanmean(last)) if np.isfinite(last).any() else math.nan
    return nowcast(
        recent,
        wind_bound_m_s=_high(plan, Limit.WIND, field) / share,
        gust_bound_m_s=_high(plan, Limit.GUST, field) + (1.0 - share) * mean,
        step_s=max(_FASTEST_S, round(step_s)),
    )


def _high(plan: Plan, limit: Limit, field: int) -> float:
    return float(plan.bounds[limit].high[field]) if limit in plan.bounds else math.inf
