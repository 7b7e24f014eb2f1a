"""Sets right what was kept by a wrong clock, once that clock is set.

What was written while the clock was wrong is known by its time: it lies between the moment the
clock was last set (or the watch began) and now, both as the wrong clock had them.
"""

import numpy as np
from sqlalchemy import select, update
from sqlalchemy.orm import InstrumentedAttribute, Session

from watcher.sources.base import Flag
from watcher.sources.quality.check import AHEAD_S
from watcher.store import conditions, stale
from watcher.store.tables import (
    Condition,
    IssuedForecast,
    Job,
    JobEvent,
    JobStep,
    Observation,
    Outgoing,
    SourceHealth,
    StationSite,
    StatusChange,
    WatchRun,
)

_STAMPED_WITHIN_S = 30
"""A reading kept so soon after its own time has it from our clock, where that was far off."""
_FAR_OFF_S = 600
_NOT_SO = "not_so_since"

_MOMENTS: tuple[InstrumentedAttribute[int] | InstrumentedAttribute[int | None], ...] = (
    Outgoing.sent_at,
    Outgoing.acknowledged_at,
    Condition.since,
    Condition.said_at,
    Condition.cleared_at,
    Job.started_at,
    Job.paused_at,
    Job.ended_at,
    JobEvent.at,
    JobStep.at,
    JobStep.received_at,
    WatchRun.started_at,
    WatchRun.seen_at,
    WatchRun.stopped_at,
    SourceHealth.asked_at,
    SourceHealth.answered_at,
    SourceHealth.newest_reading_at,
    StatusChange.at,
    IssuedForecast.fetched_at,
    IssuedForecast.first_fetched_at,
    Observation.received_at,
)


def shift(session: Session, since: int, until: int, by_s: int) -> None:
    """Move every moment kept in ``since <= moment <= until`` by so many seconds.

    Readings that were dated by our clock move too, and those it flagged as from the future are
    judged again. The moments of sealed records stay: nothing of them is ever changed.
    """
    for source in session.scalars(select(StationSite.source)).all():
        _shift_readings(session, source, since, until, by_s)
    written = (Outgoing.created_at >= since, Outgoing.created_at <= until)
    together = (
        Outgoing.created_at,
        Outgoing.caused_at,
        Outgoing.due_at,
        Outgoing.expires_at,
        Outgoing.lease_until,
    )
    session.execute(update(Outgoing).where(*written).values({c: c + by_s for c in together}))
    for raised in conditions.raised(session):
        at = raised.detail.get(_NOT_SO)
        if at is not None and since <= at <= until:
            raised.detail = raised.detail | {_NOT_SO: at + by_s}
    session.flush()
    for moment in _MOMENTS:
        within = (moment >= since, moment <= until)
        session.execute(update(moment.class_).where(*within).values({moment: moment + by_s}))
    for source in session.scalars(select(StationSite.source)).all():
        _judge_times_again(session, source, since + by_s, until + by_s)
    session.expire_all()


def _shift_readings(session: Session, source: str, since: int, until: int, by_s: int) -> None:
    """Move readings that our clock dated; those of a station's own clock are right as they are."""
    if abs(by_s) <= _FAR_OFF_S:
        return
    dated_by_us = (
        Observation.source == source,
        Observation.received_at >= since,
        Observation.received_at <= until,
        Observation.time <= Observation.received_at,
        Observation.time >= Observation.received_at - _STAMPED_WITHIN_S,
    )
    times = np.array(session.scalars(select(Observation.time).where(*dated_by_us)).all(), np.int64)
    if not times.size:
        return
    # By way of negative times, as a time may be taken by a reading that has not moved yet.
    away = update(Observation).where(*dated_by_us).values(time=-(Observation.time + by_s))
    session.execute(away)
    there = update(Observation).where(Observation.source == source, Observation.time < 0)
    session.execute(there.values(time=-Observation.time))
    stale.mark(session, source, np.concatenate([times, times + by_s]))


def _judge_times_again(session: Session, source: str, since: int, until: int) -> None:
    """Take back what only the wrong clock found: readings that are not from the future."""
    found = session.execute(
        select(Observation.time, Observation.flags).where(
            Observation.source == source,
            Observation.received_at >= since,
            Observation.received_at <= until,
            Observation.time <= Observation.received_at + AHEAD_S,
            Observation.flags.is_not(None),
        )
    ).all()
    right = []
    for time, flags in found:
        kept = {name: int(bits) & ~int(Flag.FUTURE) for name, bits in flags.items()}
        if kept != flags:
            flagged = {name: bits for name, bits in kept.items() if bits}
            of = (Observation.source == source, Observation.time == time)
            session.execute(update(Observation).where(*of).values(flags=flagged or None))
            right.append(time)
    if right:
        stale.mark(session, source, np.array(right, np.int64))
