"""What gusts to expect in the wind there is, said before a job starts: mid-job nobody can promise.

A gust has no inertia to see it coming by, but how gusty a place is changes little.
"""

import math
from dataclasses import dataclass

from sqlalchemy.orm import Session

from watcher.judge.by_hand import BY_HAND
from watcher.judge.judgement import Judgement
from watcher.judge.timeline import Timeline
from watcher.limits.catalogue import Limit
from watcher.store import aggregates
from watcher.weather.bins import TEN_MINUTES_S
from watcher.weather.gust_factor import usual_gust_factor

_LEARNS_S = 14 * 86_400


@dataclass(frozen=True)
class UsualGusts:
    """The gust to expect within ten minutes in the wind of now, at boom height."""

    factor: float
    """Gust over mean wind at the sensor, as usual there."""
    gust_m_s: float
    bound_m_s: float


def usual_gusts(
    session: Session, judgement: Judgement, timeline: Timeline, field: int, setup: int
) -> UsualGusts | None:
    """Return the gusts to expect over a field (by index) with a setup in the wind of now.

    None where no station speaks for the wind, its log tells too little, or there is no bound.
    """
    wind, bounds = timeline.spoken["wind_m_s"], judgement.plan.bounds
    bound = float(bounds[Limit.GUST].high[field]) if Limit.GUST in bounds else math.inf
    if wind.source in {None, BY_HAND} or not wind.measured or not math.isfinite(bound):
        return None
    bins = aggregates.bins(
        session, wind.source, TEN_MINUTES_S, timeline.now - _LEARNS_S, timeline.now
    )
    factor = usual_gust_factor(bins.series)
    at_sensor = float(timeline.series.wind_m_s[timeline.now_index])
    at_boom = float(judgement.boom.wind_m_s[field, setup, timeline.now_index])
    # A gust keeps its excess over the mean on its way down; see watcher.weather.wind.
    gust = at_boom + (factor - 1.0) * at_sensor
    return UsualGusts(factor, gust, bound) if math.isfinite(gust) else None
