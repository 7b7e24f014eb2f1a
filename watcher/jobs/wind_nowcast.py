"""What the last minutes of the wind say is coming for a job: how likely it passes its bounds."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm.models import Warn
from watcher.farm.origin import Force
from watcher.farm.rules.mix import gusts_count, heights
from watcher.farm.rules.weather import WindRule
from watcher.judge.by_hand import BY_HAND
from watcher.judge.judgement import Judgement
from watcher.judge.timeline import Timeline
from watcher.limits.boom_wind import WindPlace, above_canopy
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.store import weather
from watcher.store.tables import Job
from watcher.weather.mean_ahead import BEGINS_FROM
from watcher.weather.nowcast import Nowcast, nowcast
from watcher.weather.series import WeatherSeries
from watcher.weather.straying import learn_spread_scale

LOOKS_BACK_S = 3600
"""How much of the past it is judged from. [s]"""
WARNS_FROM = {Warn.EARLIER: 0.2, Warn.NORMAL: BEGINS_FROM, Warn.FEWER: 0.4}
"""The chance of passing the bound at which a warning begins."""
_FASTEST_S, _SLOWEST_S = 10, 300  # readings further apart say nothing of the next minutes
_FEWEST = 5
_MEAN_S = 600
_LEARNS_S = 14 * 86_400
_LEARNS_READINGS = 20_000
"""A station that reports every ten seconds is learned from over two days: enough, and quick."""


def wind_nowcast(
    judgement: Judgement,
    now: int,
    job: Job,
    recent: WeatherSeries,
    *,
    spread_scale: float = 1.0,
) -> Nowcast | None:
    """Judge the wind of a station's last hour against the bounds of a job's field.

    The bounds hold at boom height; here they are brought up to the sensor, as the wind of the time
    ``now`` of the judgement was brought down. None where there are too few readings, or they are
    too far apart.
    """
    plan = judgement.plan
    step_s = _step_s(recent)
    if step_s is None:
        return None
    field, setup = plan.fields.index(job.field), plan.setups.index(job.setup)
    entry = plan.farm.config.sources[recent.source]
    site = replace(recent.site, canopy_m=entry.heights.canopy)
    obukhov = judgement.of_field(field).inversion.obukhov_m[now : now + 1]
    booms = above_canopy(plan.kinds, plan.boom_m)
    share = float(booms.wind_share(site, obukhov)[plan.kind[field], setup, 0])

    def share_at(height_m: float) -> float:
        return float(WindPlace.in_the_open(height_m).wind_share(site, obukhov)[0])

    # A gust keeps its excess over the mean on its way down; see ``gust_at_height``.
    last = recent.between(int(recent.times[-1]) - _MEAN_S, int(recent.times[-1]) + 1).wind_m_s
    mean = float(np.nanmean(last)) if np.isfinite(last).any() else math.nan
    return nowcast(
        recent,
        wind_bound_m_s=min(
            _high(plan, Limit.WIND, field) / share, _rules_high(plan, job.field, share, share_at)
        ),
        gust_bound_m_s=min(
            _high(plan, Limit.GUST, field) + (1.0 - share) * mean,
            _rules_high(plan, job.field, share, share_at, gusts=True),
        ),
        step_s=step_s,
        begins_from=WARNS_FROM[plan.farm.config.alerts.warn],
        spread_scale=spread_scale,
    )


def _rules_high(
    plan: FarmArrays,
    field: str,
    share: float,
    share_at: Callable[[float], float],
    *,
    gusts: bool = False,
) -> float:
    """The least high bound of a field's rules, brought from its own height to the sensor's. [m/s]

    A gust's bound is brought there as a mean's is: it warns sooner, never later.
    """
    bounds = [math.inf]
    for one in plan.rules[plan.fields.index(field)]:
        rule = one.rule
        if not isinstance(rule, WindRule) or rule.high is None or rule.force is Force.ADVICE:
            continue
        if gusts and not gusts_count(rule):
            continue
        height = heights(rule)["high"]
        factor = share if height is None else share_at(height)
        bounds.append(rule.high / (max(1.0, factor) if gusts else factor))
    return min(bounds)


def recent_wind(session: Session, timeline: Timeline) -> WeatherSeries | None:
    """Return the last hour of the station that speaks for the wind; None where none does."""
    wind = timeline.spoken["wind_m_s"]
    if wind.source in {None, BY_HAND} or not wind.measured:
        return None
    now = timeline.now
    return weather.observations(session, wind.source, now - LOOKS_BACK_S, now + 1).usable()


def learned_scale(session: Session, recent: WeatherSeries) -> float:
    """Return how far a station's wind strays against the usual, by its log before ``recent``.

    1 where the log holds nothing to learn from.
    """
    step_s = _step_s(recent)
    if step_s is None:
        return 1.0
    until = int(recent.times[-1])
    since = until - min(_LEARNS_S, _LEARNS_READINGS * step_s)
    readings = weather.observations(session, recent.source, since, until)
    return learn_spread_scale(readings.usable(), step_s=step_s)


def _step_s(recent: WeatherSeries) -> int | None:
    """The time between readings; None where they are too few or too far apart to judge by."""
    if len(recent) < _FEWEST:
        return None
    step_s = float(np.median(np.diff(recent.times)))
    return max(_FASTEST_S, round(step_s)) if step_s <= _SLOWEST_S else None


def _high(plan: FarmArrays, limit: Limit, field: int) -> float:
    return float(plan.bounds[limit].high[field]) if limit in plan.bounds else math.inf
