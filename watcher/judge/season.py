"""A stretch of judged hours added up: how long each field was open, and what kept it closed."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from watcher.judge.judgement import Judgement
from watcher.limits.catalogue import LIFTED_BY_SETUP_ALONE, Limit
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.weather.series import Floats

_FIRST = -1


@dataclass(frozen=True)
class Tally:
    """Hours by field and status, and what took the others away. Axis F fields.

    ``hours`` [F, 4] by status, its columns in the order of ``Status``. Of the hours not open:
    ``bound`` in which each limit bound (with the setup that comes closest), ``alone`` in which it
    was the only one that did not hold, ``cut_short`` in which all held at first but not known to
    the job's end. ``open_somewhere`` counts hours in which at least one field was open.
    """

    fields: tuple[str, ...]
    hours: Floats
    bound: Mapping[Limit, Floats]
    alone: Mapping[Limit, Floats]
    cut_short: Floats
    open_somewhere: float

    @classmethod
    def empty(cls, plan: FarmArrays) -> Self:
        """Return the tally of no hours at all."""
        count = len(plan.fields)
        return cls(plan.fields, np.zeros((count, len(Status))), {}, {}, np.zeros(count), 0.0)

    def __add__(self, other: Self) -> Self:
        return type(self)(
            self.fields,
            self.hours + other.hours,
            _both(self.bound, other.bound),
            _both(self.alone, other.alone),
            self.cut_short + other.cut_short,
            self.open_somewhere + other.open_somewhere,
        )

    @property
    def open_hours(self) -> Floats:
        """Hours in which each field was suitable or marginal. [F]"""
        hours: Floats = self.hours[:, Status.MARGINAL :].sum(axis=1)
        return hours


def tally(judgement: Judgement, counted: Bools) -> Tally:
    """Add up the times ``counted`` [T] of a judgement of hours, one hour each."""
    status = judgement.best[:, counted]
    closest = _Closest(judgement, counted)
    closed = status < Status.MARGINAL
    holding = closest.stand >= LimitState.NEAR
    limits = [checked.limit for checked in judgement.checks]

    def by_limit(where: Bools) -> dict[Limit, Floats]:
        counts = {
            limit: (where & (closest.limit == index)).sum(axis=1).astype(np.float64)
            for index, limit in enumerate(limits)
        }
        return {limit: hours for limit, hours in counts.items() if hours.any()}

    return Tally(
        judgement.plan.fields,
        np.stack([(status == s).sum(axis=1) for s in Status], axis=1).astype(np.float64),
        bound=by_limit(closed & ~holding),
        alone=by_limit(closed & ~holding & (closest.not_holding == 1)),
        cut_short=(closed & holding).sum(axis=1).astype(np.float64),
        open_somewhere=float((~closed).any(axis=0).sum()),
    )


class _Closest:
    """For every field and time the setup that comes closest, and the limit that binds it. [F, T]

    The same choice as ``choose_setup`` makes where no setup is open, and the first of ``reasons``.
    """

    def __init__(self, judgement: Judgement, counted: Bools) -> None:
        self._judgement, self._counted = judgement, counted
        shape = (len(judgement.plan.fields), int(counted.sum()))
        self._status = np.full(shape, _FIRST, dtype=np.int8)
        self._room = np.full(shape, -np.inf)
        self._loss = np.full(shape, np.inf)
        self._shut_for_good = np.zeros(shape, dtype=np.int64)
        self.not_holding = np.zeros(shape, dtype=np.int64)
        self.stand = np.full(shape, LimitState.BROKEN, dtype=np.int8)
        self.limit = np.full(shape, _FIRST, dtype=np.int64)
        for setup in range(len(judgement.plan.setups)):
            self._consider(setup)

    def _consider(self, setup: int) -> None:
        plan = self._judgement.plan
        status = self._judgement.status[:, setup, self._counted]
        shut_for_good, not_holding, room, stand, limit = self._of_setup(setup)
        loss = np.broadcast_to(plan.loss_pct[:, setup, None], status.shape)
        better = _first_that_differs(
            (status > self._status, status < self._status),
            (shut_for_good < self._shut_for_good, shut_for_good > self._shut_for_good),
            (not_holding < self.not_holding, not_holding > self.not_holding),
            (room > self._room, room < self._room),
            (loss < self._loss, loss > self._loss),
        )
        better &= plan.allowed[:, setup, None]
        for kept, new in (
            (self._status, status),
            (self._shut_for_good, shut_for_good),
            (self.not_holding, not_holding),
            (self._room, room),
            (self._loss, loss),
            (self.stand, stand),
            (self.limit, limit),
        ):
            kept[better] = new[better]

    def _of_setup(
        self, setup: int
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats, NDArray[np.int8], NDArray[np.int64]]:
        """How many limits don't hold with a setup, first those no weather lifts, the least room,

        how the limit that binds stands, and which it is.
        """
        shape = self._judgement.instant.shape
        size = (shape[0], int(self._counted.sum()))
        not_holding, least = np.zeros(size, dtype=np.int64), np.full(size, np.inf)
        shut_for_good = np.zeros(size, dtype=np.int64)
        worst, room = np.full(size, len(LimitState), dtype=np.int8), np.full(size, np.inf)
        binding = np.full(size, _FIRST, dtype=np.int64)
        for index, checked in enumerate(self._judgement.checks):
            stand = np.broadcast_to(checked.stand, shape)[:, setup, self._counted]
            headroom = np.broadcast_to(checked.headroom, shape)[:, setup, self._counted]
            not_holding += stand <= LimitState.UNKNOWN
            if checked.limit in LIFTED_BY_SETUP_ALONE:
                shut_for_good += stand <= LimitState.UNKNOWN
            least = np.minimum(least, np.nan_to_num(headroom, nan=0.0, posinf=np.inf))
            own = np.where(np.isnan(headroom), -np.inf, headroom)
            binds = (stand < worst) | ((stand == worst) & (own < room))
            worst, room = np.where(binds, stand, worst), np.where(binds, own, room)
            binding = np.where(binds, index, binding)
        return shut_for_good, not_holding, least, worst, binding


def _first_that_differs(*steps: tuple[Bools, Bools]) -> Bools:
    """Whether something is better by the first of these (better, worse) in which it differs."""
    better, tied = np.zeros_like(steps[0][0]), np.ones_like(steps[0][0])
    for up, down in steps:
        better |= tied & up
        tied &= ~(up | down)
    return better


def _both(a: Mapping[Limit, Floats], b: Mapping[Limit, Floats]) -> dict[Limit, Floats]:
    return {
        limit: np.asarray(a.get(limit, 0.0) + b.get(limit, 0.0))
        for limit in Limit
        if limit in a or limit in b
    }
