"""How stations' rain gauges stand, so that what they count can be given as a rate."""

from sqlalchemy.orm import Session

from watcher.sources.base import Observations
from watcher.sources.quality.check import AHEAD_S
from watcher.sources.stations.rain_gauge import Gauge, rated
from watcher.store.session import farm_of
from watcher.store.tables import RainGauge


def with_rates(session: Session, observations: Observations, now: int) -> Observations:
    """Return observations with rates of rain in place of amounts; the log keeps how the gauge
    stands. ``now`` is epoch seconds.
    """
    if observations.rain_fall is None:
        return observations
    source = observations.series.source
    row = session.get(RainGauge, (farm_of(session), source), with_for_update=True)
    known = None
    if row is not None and row.time <= now + AHEAD_S:  # else by a clock that was wrong
        known = Gauge(row.time, row.mm)
    with_rain, stands = rated(observations, known)
    if stands is not None and row is None:
        session.add(RainGauge(source=source, time=stands.time, mm=stands.mm))
    elif stands is not None and row is not None:
        row.time, row.mm = stands.time, stands.mm
    return with_rain
