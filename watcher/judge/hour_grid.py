"""The hours ahead of a field as a row: what it is in each, with which setup, and what decides."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.judge.judgement import Judgement
from watcher.judge.reasons import OF_RULES_ONLY
from watcher.judge.setup_choice import choose_setups
from watcher.limits.catalogue import Limit
from watcher.limits.hours import next_true
from watcher.limits.status import Status
from watcher.weather.series import Floats

Indices = NDArray[np.intp]
NOTHING = -1


@dataclass(frozen=True)
class HourRow:
    """One field in some hours. Arrays [T].

    ``limit`` is the place of what decides in ``limits``; ``NOTHING`` where that lies beyond the
    hours anybody knows of. ``at`` is the index of the time at which it does: of a job that begins
    in order and is broken off later, a later one.
    """

    status: NDArray[np.int8]
    setup: Indices
    limit: Indices
    at: Indices
    limits: tuple[Limit, ...]


def hour_row(judgement: Judgement, field: int, times: slice) -> HourRow:
    """Return what a field is in each of some hours, for a whole job begun then.

    What decides is the limit that ``reasons`` puts first: at the beginning, or where the status is
    worse than the beginning alone would be, at the time ahead that makes it so.
    """
    own = judgement.of_field(field)
    setup = choose_setups(own, field, times)
    here = np.arange(len(own.series))[times]
    instant = own.instant[field].T[here, setup]
    status = own.status[field].T[here, setup]
    begin = np.broadcast_to(own.begin, own.instant.shape)[field].T[here, setup]
    at = np.where(np.minimum(instant, begin) <= status, here, _later(own, field, here, setup))
    breaks = (status == Status.MARGINAL) & _breaks(own, field, here, setup)
    at[breaks] = _breaks_index(own, field, here, setup)[breaks]
    known = at < len(own.series)
    limit, limits = _worst(own, field, setup, np.where(known, at, here), at > here)
    return HourRow(status, setup, np.where(known, limit, NOTHING), at, limits)


def _later(own: Judgement, field: int, here: Indices, setup: Indices) -> Indices:
    """The time ahead at which a job's status is first what it is as a whole; T where never."""
    found = np.full(here.size, len(own.series))
    status = own.status[field].T[here, setup]
    for kind in (Status.UNKNOWN, Status.MARGINAL):
        when = next_true(own.series, own.instant[field] == kind).T[here, setup]
        index = np.searchsorted(own.series.times, when)
        found = np.where(status == kind, index, found)
    return found


def _breaks(own: Judgement, field: int, here: Indices, setup: Indices) -> NDArray[np.bool_]:
    done = own.series.times[here] + own.plan.duration_s[field, setup]
    return np.asarray(own.breaks_at[field].T[here, setup] < done)


def _breaks_index(own: Judgement, field: int, here: Indices, setup: Indices) -> Indices:
    return np.asarray(np.searchsorted(own.series.times, own.breaks_at[field].T[here, setup]))


def _worst(
    own: Judgement, field: int, setup: Indices, at: Indices, under_way: NDArray[np.bool_]
) -> tuple[Indices, tuple[Limit, ...]]:
    """The limit that is first of ``reasons`` with each setup at each time."""
    shape = own.instant.shape
    stands, rooms = [], []
    for checked in own.checks:
        stand = np.broadcast_to(checked.stand, shape)[field, setup, at].astype(np.float64)
        if checked.limit in OF_RULES_ONLY:
            ruled = -1 if checked.rule is None else checked.rule
            stand[np.broadcast_to(ruled, shape)[field, setup, at] < 0] = np.inf
        if checked.limit is Limit.BEGIN:
            stand[under_way] = np.inf  # what asks only of the beginning breaks no job off
        room: Floats = np.broadcast_to(checked.headroom, shape)[field, setup, at]
        stands.append(stand)
        rooms.append(np.where(np.isnan(room), -np.inf, room))
    order = np.lexsort((np.array(rooms).T, np.array(stands).T))
    return order[:, 0], tuple(checked.limit for checked in own.checks)
