"""The plan: steps in their order, what is left out and why, what another order would lose."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from watcher.planning.choices import Choices
from watcher.planning.optimum import best_order
from watcher.planning.orders import Order, Orders

_PASSES = 3
_FIRST_STARTS = 8
"""Of a field that shall be first so many of its next starts are tried."""
KEEPS_WITHIN = 0.05
"""The order there was stays while a new one is worth less than this share more (a choice): nobody
is sent back and forth for a small gain."""


class LeftOut(StrEnum):
    """Why a field is not in a plan."""

    NOT_KNOWN = "not known"
    """No chance is known for it at any start."""
    NO_HOUR = "no hour"
    """No start has a chance worth trying."""
    NO_TIME = "no time"
    """There are such starts, and the sprayers are elsewhere then."""
    WISHED = "wished"
    """What was asked of the plan leaves it no start."""


@dataclass(frozen=True)
class Step:
    """One job of a plan. Times are epoch seconds."""

    sprayer: str
    field: str
    setup: str
    starts_at: int
    ends_at: int
    chance: float
    change_s: float
    """What has to be changed before it begins: the way, filling, cleaning out. [s]"""


@dataclass(frozen=True)
class DayPlan:
    """What is proposed, as of a moment."""

    at: int
    steps: tuple[Step, ...]
    """In the order they begin."""
    worth: float
    left_out: Mapping[str, LeftOut]

    @property
    def order(self) -> dict[str, tuple[str, ...]]:
        """The fields of each sprayer that has any, first to last."""
        order: dict[str, tuple[str, ...]] = {}
        for step in self.steps:
            order[step.sprayer] = (*order.get(step.sprayer, ()), step.field)
        return order


@dataclass(frozen=True)
class Wishes:
    """What the grower asks of a plan."""

    first: str | None = None
    """The field to be sprayed before all others with its sprayer."""
    not_these: frozenset[str] = frozenset()
    only_with: Mapping[str, str] = field(default_factory=dict)
    """The one sprayer a field may be sprayed with, by field."""
    home_by: int | None = None
    """Nothing may still run then. Epoch seconds."""


class WishError(ValueError):
    """A wish that no plan can fulfil."""

    def __init__(self, wish: str, field: str) -> None:
        self.wish, self.field = wish, field
        super().__init__(f"{wish}: {field}")


class Planner:
    """Plans from some choices. ``setups`` names the setup of each [K][F][B] by its index."""

    def __init__(self, choices: Choices, setups: tuple[str, ...], of: NDArray[np.intp]) -> None:
        self._choices, self._setups, self._of = choices, setups, of

    def plan(
        self,
        wishes: Wishes = Wishes(),
        *,
        before: DayPlan | None = None,
        at_most_s: float = 0.0,
    ) -> DayPlan:
        """Return the best plan that fulfils the wishes.

        ``before`` is the plan that holds: its order stays unless another gains enough.
        ``at_most_s`` is the time given to the solver; 0 plans without it. Raises ``WishError``.
        """
        choices = self._choices.without(self._barred(wishes))
        if wishes.first is None:
            orders = Orders(choices)
            return self._read(orders, self._order(orders, before, at_most_s), wishes)
        return self._with_first(choices, wishes, at_most_s)

    def losing(self, plan: DayPlan, wishes: Wishes = Wishes()) -> dict[str, DayPlan]:
        """Return the plan that results when each planned field is done first instead."""
        firsts = {fields[0] for fields in plan.order.values()}
        others = [step.field for step in plan.steps if step.field not in firsts]
        found = {}
        for name in others:
            try:
                found[name] = self.plan(replace(wishes, first=name))
            except WishError:
                continue
        return found

    def _barred(self, wishes: Wishes) -> NDArray[np.bool_]:
        choices = self._choices
        barred = np.zeros(choices.chance.shape, dtype=bool)
        for name in wishes.not_these:
            barred[:, self._index(name)] = True
        for name, sprayer in wishes.only_with.items():
            barred[
                [k for k, s in enumerate(choices.sprayers) if s != sprayer], self._index(name)
            ] = True
        if wishes.home_by is not None:
            barred |= choices.ends_s > wishes.home_by
        return barred

    def _index(self, name: str) -> int:
        return self._choices.fields.index(name)

    def _order(self, orders: Orders, before: DayPlan | None, at_most_s: float) -> Order:
        order = orders.improved(orders.greedy(), _PASSES)
        if at_most_s > 0.0:
            found = best_order(orders.choices, order, orders.timed(order), at_most_s)
            if orders.timed(found).worth > orders.timed(order).worth:
                order = found
        if before is not None:
            kept = self._as_before(orders.choices, before)
            keeps = orders.timed(kept).worth
            if keeps > 0.0 and keeps * (1.0 + KEEPS_WITHIN) >= orders.timed(order).worth:
                return kept
        return order

    def _as_before(self, choices: Choices, before: DayPlan) -> Order:
        """Return the order of a plan, less the fields that are gone."""
        return tuple(
            tuple(self._index(f) for f in before.order.get(sprayer, ()) if f in choices.fields)
            for sprayer in choices.sprayers
        )

    def _with_first(self, choices: Choices, wishes: Wishes, at_most_s: float) -> DayPlan:
        """Try the next starts of a field as the first job of its sprayer."""
        name = wishes.first or ""
        f = self._index(name)
        best: DayPlan | None = None
        for k in range(len(choices.sprayers)):
            for b in np.flatnonzero(np.isfinite(choices.value[k, f]))[:_FIRST_STARTS]:
                barred = np.zeros(choices.chance.shape, dtype=bool)
                barred[:, f] = True
                barred[k, f, b] = False
                free = choices.ends_s[k, f, b]
                ready = free + choices.change_s[choices.group[f], choices.group]
                barred[k] |= choices.starts < ready[:, None]
                barred[k, f, b] = False
                tried = Orders(choices.without(barred))
                order = self._order(tried, None, at_most_s)
                if f not in order[k]:
                    order = (*order[:k], (f, *order[k]), *order[k + 1 :])
                if not np.isfinite(tried.timed(order).worth):
                    continue
                plan = self._read(tried, order, wishes)
                if best is None or plan.worth > best.worth:
                    best = plan
        if best is None:
            raise WishError("first", name)
        return best

    def _read(self, orders: Orders, order: Order, wishes: Wishes) -> DayPlan:
        choices, timed = orders.choices, orders.timed(order)
        steps = []
        for k, (fields, starts) in enumerate(zip(order, timed.starts, strict=True)):
            for place, (f, b) in enumerate(zip(fields, starts, strict=True)):
                last = choices.group[fields[place - 1]] if place else choices.group[f]
                steps.append(
                    Step(
                        sprayer=choices.sprayers[k],
                        field=choices.fields[f],
                        setup=self._setups[self._of[k, f, b]],
                        starts_at=int(choices.starts[b]),
                        ends_at=round(float(choices.ends_s[k, f, b])),
                        chance=float(choices.chance[k, f, b]),
                        change_s=float(choices.change_s[last, choices.group[f]]) if place else 0.0,
                    )
                )
        planned = {step.field for step in steps}
        left = [name for name in choices.fields if name not in planned]
        return DayPlan(
            at=int(choices.starts[0]),
            steps=tuple(sorted(steps, key=lambda s: (s.starts_at, s.sprayer))),
            worth=timed.worth,
            left_out={name: self._why(name, wishes) for name in left},
        )

    def _why(self, name: str, wishes: Wishes) -> LeftOut:
        f = self._index(name)
        if np.isnan(self._choices.chance[:, f]).all():
            return LeftOut.NOT_KNOWN
        if not np.isfinite(self._choices.value[:, f]).any():
            return LeftOut.NO_HOUR
        if self._barred(wishes)[:, f][np.isfinite(self._choices.value[:, f])].all():
            return LeftOut.WISHED
        return LeftOut.NO_TIME
