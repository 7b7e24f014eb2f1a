"""The plan: steps in their order, what is left out and why, what another order would lose."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.limits.catalogue import Limit
from watcher.planning.choices import Choices
from watcher.planning.dispatch import dispatched
from watcher.planning.optimum import best_order
from watcher.planning.orders import Order, Orders, Timed

PASSES = 3
"""How often each field is tried in every other place of a greedy order; 0 leaves it as it is."""
_FIRST_STARTS = 8
"""Of a field that shall be first so many of its next starts are tried."""
T = TypeVar("T")
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
    """It was asked to be left out."""
    ONLY_WITH = "only with"
    """The one sprayer it may be sprayed with has no start for it."""
    HOME_BY = "home by"
    """All its starts are after the hour by which everybody is to be home."""
    OUT = "out"
    """Its sprayers are out of use."""


@dataclass(frozen=True)
class Step:
    """One job of a plan. Times are epoch seconds; the last fields are for who reads it."""

    sprayer: str
    field: str
    setup: str
    starts_at: int
    ends_at: int
    chance: float
    change_s: float
    """What has to be changed before it begins: the way, filling, cleaning out. [s]"""
    cleans_out: bool = False
    """Whether tank and boom are rinsed before it, for what was in the tank must not meet it."""
    tips_s: float = 0.0
    """How long turning to its tips, or changing them, stops the sprayer that had others on. [s]"""
    area_m2: float = 0.0
    """What of the field is still to be sprayed."""
    ended_by: Limit | None = None
    """What ends such a job most often; None where nothing does."""


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


class Wish(StrEnum):
    """What may be asked of a plan."""

    FIRST = "first"
    NOT_THIS = "not this"
    NOT_TODAY = "not today"
    ONLY_WITH = "only with"
    HOME_BY = "home by"
    OUT = "out"


@dataclass(frozen=True)
class Wishes:
    """What the grower asks of a plan. Times are epoch seconds."""

    first: str | None = None
    """The field to be sprayed before all others with its sprayer."""
    not_these: frozenset[str] = frozenset()
    not_before: Mapping[str, int] = field(default_factory=dict)
    """Fields that may not be begun before a moment, such as the end of today."""
    only_with: Mapping[str, str] = field(default_factory=dict)
    """The one sprayer a field may be sprayed with, by field."""
    home_by: int | None = None
    """Nothing may still run then."""
    home_until: int | None = None
    """From then on jobs may begin again; never where it is not given."""
    out: Mapping[str, int] = field(default_factory=dict)
    """Sprayers that are out of use until a moment."""
    keeps_order: bool = False
    """Whether the order there was stays as long as it can be done, whatever another would gain."""

    def less(self, wish: Wish, name: str) -> "Wishes":
        """Return the wishes without one of them, as it concerns a field."""
        match wish:
            case Wish.FIRST:
                return replace(self, first=None)
            case Wish.NOT_THIS:
                return replace(self, not_these=self.not_these - {name})
            case Wish.NOT_TODAY:
                return replace(self, not_before=_but(self.not_before, name))
            case Wish.ONLY_WITH:
                return replace(self, only_with=_but(self.only_with, name))
            case Wish.HOME_BY:
                return replace(self, home_by=None)
        return replace(self, out={})


def _but(of: Mapping[str, T], name: str) -> dict[str, T]:
    return {key: value for key, value in of.items() if key != name}


class WishError(ValueError):
    """A wish that no plan can fulfil. ``by`` is the other wish that stands in its way, if one does:

    without it there would be a start for the field.
    """

    def __init__(self, wish: Wish, field: str, by: Wish | None) -> None:
        self.wish, self.field, self.by = wish, field, by
        super().__init__(f"{wish}: {field}" + (f" ({by})" if by else ""))


@dataclass(frozen=True)
class Loss:
    """What another plan loses against one."""

    fields: tuple[str, ...]
    """Fields that are no longer planned."""
    fewer: float
    """How many fewer fields are likely to be finished."""


def loss(plan: DayPlan, other: DayPlan) -> Loss:
    """Return what another plan loses against one."""
    gone = {step.field for step in plan.steps} - {step.field for step in other.steps}
    fewer = sum(s.chance for s in plan.steps) - sum(s.chance for s in other.steps)
    return Loss(tuple(sorted(gone)), fewer)


class Planner:
    """Plans from some choices. ``setups`` names the setup of each [K][F][B] by its index."""

    def __init__(self, choices: Choices, setups: tuple[str, ...], of: NDArray[np.intp]) -> None:
        self.choices, self._setups, self._of = choices, setups, of

    def plan(
        self,
        wishes: Wishes = Wishes(),
        *,
        before: DayPlan | None = None,
        at_most_s: float = 0.0,
        passes: int = PASSES,
    ) -> DayPlan:
        """Return the best plan that fulfils the wishes.

        ``before`` is the plan that holds: its order stays unless another gains enough.
        ``at_most_s`` is the time given to the solver; 0 plans without it, and with no ``passes``
        it is the greedy plan. Raises ``WishError``.
        """
        choices = self.choices.without(self._barred(wishes))
        if wishes.first is None:
            orders = Orders(choices)
            order = self._order(orders, before, at_most_s, stays=wishes.keeps_order, passes=passes)
            return self._read(orders, order, wishes)
        return self._with_first(choices, wishes, at_most_s, passes=passes)

    def losing(
        self, plan: DayPlan, wishes: Wishes = Wishes(), *, within_s: float = np.inf
    ) -> dict[str, DayPlan]:
        """Return the plan that results when each planned field is done first instead.

        The next fields of the plan come first; what does not get done in a time is left out.
        """
        until = time.monotonic() + within_s
        firsts = {fields[0] for fields in plan.order.values()}
        others = [step.field for step in plan.steps if step.field not in firsts]
        found = {}
        for name in others:
            if time.monotonic() > until:
                break
            wished = replace(wishes, first=name)
            choices = self.choices.without(self._barred(wished))
            try:
                found[name] = self._with_first(choices, wished, 0.0, passes=1)
            except WishError:
                continue
        return found

    def _barred(self, wishes: Wishes) -> NDArray[np.bool_]:
        choices = self.choices
        barred = np.zeros(choices.chance.shape, dtype=bool)
        wishes = self._known(wishes)
        for name in wishes.not_these:
            barred[:, self._index(name)] = True
        for name, sprayer in wishes.only_with.items():
            barred[
                [k for k, s in enumerate(choices.sprayers) if s != sprayer], self._index(name)
            ] = True
        for name, moment in wishes.not_before.items():
            barred[:, self._index(name), choices.starts < moment] = True
        for sprayer, moment in wishes.out.items():
            if sprayer in choices.sprayers:
                barred[choices.sprayers.index(sprayer), :, choices.starts < moment] = True
        if wishes.home_by is not None:
            until = np.inf if wishes.home_until is None else wishes.home_until
            barred |= (choices.ends_s > wishes.home_by) & (choices.starts < until)
        return barred

    def _known(self, wishes: Wishes) -> Wishes:
        """Return the wishes for the fields that may be planned: others are done or in hand."""
        fields = self.choices.fields
        return replace(
            wishes,
            not_these=wishes.not_these & set(fields),
            not_before={f: at for f, at in wishes.not_before.items() if f in fields},
            only_with={f: k for f, k in wishes.only_with.items() if f in fields},
        )

    def _in_the_way(self, wishes: Wishes, name: str) -> Wish | None:
        """Return the wish without which a field would have a start; None where the hours do."""
        f = self._index(name)

        def opens(less: Wishes) -> bool:
            return bool(np.isfinite(self.choices.without(self._barred(less)).value[:, f]).any())

        if opens(wishes):
            return None
        others = [wish for wish in Wish if wish is not Wish.FIRST]
        return next((wish for wish in others if opens(wishes.less(wish, name))), None)

    def _index(self, name: str) -> int:
        return self.choices.fields.index(name)

    def _order(
        self,
        orders: Orders,
        before: DayPlan | None,
        at_most_s: float,
        *,
        stays: bool = False,
        passes: int = PASSES,
    ) -> Order:
        order = orders.improved(orders.greedy(), passes)
        if at_most_s > 0.0:
            found = best_order(orders.choices, order, orders.timed(order), at_most_s)
            if orders.timed(found).worth > orders.timed(order).worth:
                order = found
        if before is not None:
            kept = self._as_before(orders.choices, before)
            keeps = orders.timed(kept).worth
            enough = stays or keeps * (1.0 + KEEPS_WITHIN) >= orders.timed(order).worth
            if keeps > 0.0 and enough:
                return orders.with_the_rest(kept) if stays else kept
        return order

    def _as_before(self, choices: Choices, before: DayPlan) -> Order:
        """Return the order of a plan, less the fields that are gone."""
        return tuple(
            tuple(self._index(f) for f in before.order.get(sprayer, ()) if f in choices.fields)
            for sprayer in choices.sprayers
        )

    def _with_first(
        self, choices: Choices, wishes: Wishes, at_most_s: float, *, passes: int = PASSES
    ) -> DayPlan:
        """Try the next starts of a field as the first job of its sprayer."""
        name = wishes.first or ""
        if name not in self.choices.fields:
            return self.plan(replace(wishes, first=None), at_most_s=at_most_s, passes=passes)
        f = self._index(name)
        best: tuple[float, Orders, int, Order] | None = None
        for k in range(len(choices.sprayers)):
            for b in np.flatnonzero(np.isfinite(choices.value[k, f]))[:_FIRST_STARTS]:
                tried = Orders(choices.without(self._before_first(choices, k, f, int(b))))
                order = _begun_with(tried.greedy(), k, f)
                worth = tried.timed(order).worth
                if np.isfinite(worth) and (best is None or worth > best[0]):
                    best = worth, tried, k, order
        if best is None:
            raise WishError(Wish.FIRST, name, self._in_the_way(wishes, name))
        # Only the start that is worth most by greed is planned well: that takes time.
        worth, tried, k, order = best
        better = _begun_with(self._order(tried, None, at_most_s, passes=passes), k, f)
        if tried.timed(better).worth > worth:
            order = better
        return self._read(tried, order, wishes)

    def _before_first(self, choices: Choices, k: int, f: int, b: int) -> NDArray[np.bool_]:
        """Return what is barred where a sprayer begins with a field at a start. [K, F, B]"""
        barred = np.zeros(choices.chance.shape, dtype=bool)
        ready = choices.ends_s[k, f, b] + choices.change_s[choices.group[f], choices.group]
        barred[k] = choices.starts < ready[:, None]
        barred[:, f] = True
        barred[k, f, b] = False
        return barred

    def dispatched(self) -> DayPlan:
        """Return what is done without a plan: whoever is free takes the scarcest open field."""
        order, timed = dispatched(self.choices)
        return self._as_timed(self.choices, order, timed, Wishes())

    def _read(self, orders: Orders, order: Order, wishes: Wishes) -> DayPlan:
        return self._as_timed(orders.choices, order, orders.timed(order), wishes)

    def _as_timed(self, choices: Choices, order: Order, timed: Timed, wishes: Wishes) -> DayPlan:
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
        if np.isnan(self.choices.chance[:, f]).all():
            return LeftOut.NOT_KNOWN
        if not np.isfinite(self.choices.value[:, f]).any():
            return LeftOut.NO_HOUR
        if self._barred(wishes)[:, f][np.isfinite(self.choices.value[:, f])].all():
            return _BY_WISH.get(self._in_the_way(wishes, name), LeftOut.WISHED)
        return LeftOut.NO_TIME


def _begun_with(order: Order, k: int, f: int) -> Order:
    """Return an order in which a sprayer begins with a field that no other has."""
    if f in order[k]:
        return order
    return (*order[:k], (f, *order[k]), *order[k + 1 :])


_BY_WISH: Mapping[Wish | None, LeftOut] = {
    Wish.ONLY_WITH: LeftOut.ONLY_WITH,
    Wish.HOME_BY: LeftOut.HOME_BY,
    Wish.OUT: LeftOut.OUT,
}
