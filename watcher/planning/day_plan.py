"""The plan: steps in their order, what is left out and why, what another order would lose."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import reduce
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.limits.catalogue import Limit
from watcher.planning.choices import Choices
from watcher.planning.dispatch import dispatched
from watcher.planning.optimum import best_order
from watcher.planning.orders import Order, Orders, Timed
from watcher.weather.series import Floats

PASSES = 3
"""How often each field is tried in every other place of a greedy order; 0 leaves it as it is."""
_FIRST_STARTS = 8
"""Of a field that shall be first so many of its next starts are tried."""
_CREWS = 4
"""Of so many crews, those that are worth most by greed, plans are made."""
T = TypeVar("T")
KEEPS_WITHIN = 0.05
"""The order there was stays while a new one is worth less than this share more (a choice): nobody
is sent back and forth for a small gain."""


class NotPlanned(StrEnum):
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
    NOBODY = "nobody"
    """In its hours nobody works who drives its sprayers."""


@dataclass(frozen=True)
class Crew:
    """Who has which sprayers as long as a plan lasts."""

    drivers: tuple[str, ...]
    """Of each unit; no name where the farm file names no drivers. [U]"""
    units: tuple[tuple[int, ...], ...]
    """The places of the sprayers each has, one at work at a time. [U]"""
    off: NDArray[np.bool_]
    """Jobs that are outside their driver's hours. [K, F, B]"""
    busy: NDArray[np.bool_]
    """Jobs that begin while their driver or sprayer is in another. [K, F, B]"""

    @property
    def barred(self) -> NDArray[np.bool_]:
        """Jobs that cannot be done. [K, F, B]"""
        return self.off | self.busy


@dataclass(frozen=True)
class PlanStep:
    """One job of a plan. Times are epoch seconds; the last fields are for who reads it."""

    sprayer: str
    field: str
    setup: str
    starts_at: int
    ends_at: int
    chance: float
    change_s: float
    """What has to be changed before it begins: the way, cleaning out, other tips. [s]"""
    driver: str = ""
    """Who does it; no name where the farm file names no drivers."""
    cleans_out: bool = False
    """Whether tank and boom are rinsed before it, for what was in the tank must not meet it."""
    changes_over: bool = False
    """Whether its driver comes to it from another sprayer."""
    tips_s: float = 0.0
    """The part of that for turning to its tips, or changing them, where others are on. [s]"""
    part: float = 1.0
    """The share of what is still to be sprayed that it is of: the rest stays for later."""
    area_m2: float = 0.0
    """What of the field it sprays."""
    ended_by: Limit | None = None
    """What ends such a job most often; None where nothing does."""


@dataclass(frozen=True)
class DayPlan:
    """What is proposed, as of a moment."""

    at: int
    steps: tuple[PlanStep, ...]
    """In the order they begin."""
    worth: float
    left_out: Mapping[str, NotPlanned]

    @property
    def finished(self) -> float:
        """How many fields are likely to be finished."""
        return sum(step.chance * step.part for step in self.steps)

    @property
    def of_each(self) -> dict[str, tuple[PlanStep, ...]]:
        """The steps of each driver, or of each sprayer where no drivers are named."""
        steps: dict[str, tuple[PlanStep, ...]] = {}
        for step in self.steps:
            who = step.driver or step.sprayer
            steps[who] = (*steps.get(who, ()), step)
        return steps

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
class PlanLoss:
    """What another plan loses against one."""

    fields: tuple[str, ...]
    """Fields that are no longer planned."""
    fewer: float
    """How many fewer fields are likely to be finished."""


def loss(plan: DayPlan, other: DayPlan) -> PlanLoss:
    """Return what another plan loses against one."""
    gone = {step.field for step in plan.steps} - {step.field for step in other.steps}
    return PlanLoss(tuple(sorted(gone)), plan.finished - other.finished)


class Planner:
    """Plans from some choices. ``setups`` names the setup of each [K][F][B] by its index.

    ``crews`` are the ways in which the drivers may have the sprayers; one is chosen for all of a
    plan (a choice). Without any each sprayer has its own driver. ``parts`` is the share of what is
    left of a field that a job is of; all of it where not given. [K, F, B]
    """

    def __init__(
        self,
        choices: Choices,
        setups: tuple[str, ...],
        of: NDArray[np.intp],
        crews: Sequence[Crew] = (),
        parts: Floats | None = None,
    ) -> None:
        self.choices, self._setups, self._of = choices, setups, of
        self._parts = np.ones(choices.chance.shape) if parts is None else parts
        none = np.zeros(choices.chance.shape, dtype=bool)
        alone = Crew(("",) * len(choices.driven), choices.driven, none, none)
        self._crews = tuple(crews) or (alone,)

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
        crews = self._promising(wishes, before)
        found: list[tuple[Crew, DayPlan]] = []
        refused: WishError | None = None
        for crew in crews:
            try:
                one = self._of_crew(crew, wishes, before, at_most_s / len(crews), passes=passes)
                found.append((crew, one))
            except WishError as error:
                refused = error
        if refused is not None and not found:
            raise refused
        best = max((plan for _, plan in found), key=lambda plan: plan.worth)
        # Who drives what is turned for a small gain no more than the order is.
        kept = next(
            (p for crew, p in found if before is not None and self._had(crew, before)), best
        )
        stays = wishes.keeps_order or kept.worth * (1.0 + KEEPS_WITHIN) >= best.worth
        return kept if stays else best

    def _promising(self, wishes: Wishes, before: DayPlan | None) -> list[Crew]:
        """Return the crews whose greedy orders are worth most, and the one of a plan."""
        if len(self._crews) == 1:
            return [*self._crews]
        barred = self._barred(wishes)

        def worth(crew: Crew) -> float:
            orders = Orders(self._with_crew(crew, barred))
            return orders.timed(orders.greedy()).worth

        best = sorted(self._crews, key=worth, reverse=True)
        kept = [crew for crew in best[_CREWS:] if before is not None and self._had(crew, before)]
        return [*best[:_CREWS], *kept[:1]]

    def _had(self, crew: Crew, plan: DayPlan) -> bool:
        """Whether a plan is of a crew."""
        drives = {
            self.choices.sprayers[k]: driver
            for driver, unit in zip(crew.drivers, crew.units, strict=True)
            for k in unit
        }
        return all(drives.get(step.sprayer) == step.driver for step in plan.steps)

    def _with_crew(self, crew: Crew, barred: NDArray[np.bool_]) -> Choices:
        return replace(self.choices.without(barred | crew.barred), units=crew.units)

    def _of_crew(
        self,
        crew: Crew,
        wishes: Wishes,
        before: DayPlan | None,
        at_most_s: float,
        *,
        passes: int,
    ) -> DayPlan:
        choices = self._with_crew(crew, self._barred(wishes))
        if wishes.first in self.choices.fields:
            return self._with_first(crew, choices, wishes, at_most_s, passes=passes)
        orders = Orders(choices)
        order = self._order(orders, before, at_most_s, stays=wishes.keeps_order, passes=passes)
        return self._read(crew, orders, order, wishes)

    def losing(
        self, plan: DayPlan, wishes: Wishes = Wishes(), *, within_s: float = np.inf
    ) -> dict[str, DayPlan]:
        """Return the plan that results when each planned field is done first instead.

        The next fields of the plan come first; what does not get done in a time is left out.
        """
        until = time.monotonic() + within_s
        crew = next((one for one in self._crews if self._had(one, plan)), self._crews[0])
        firsts = {steps[0].field for steps in plan.of_each.values()}
        others = [step.field for step in plan.steps if step.field not in firsts]
        found = {}
        for name in others:
            if time.monotonic() > until:
                break
            wished = replace(wishes, first=name)
            try:
                found[name] = self._of_crew(crew, wished, None, 0.0, passes=1)
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
        """Return the wish without which a field would have a start; None where the hours do.

        Where several stand in its way each by itself, the first of them.
        """
        if self._opens(wishes, name) or not self._opens(Wishes(), name):
            return None
        others = [wish for wish in Wish if wish is not Wish.FIRST]

        def alone(wish: Wish) -> Wishes:
            return reduce(lambda left, o: left.less(o, name), set(others) - {wish}, wishes)

        without = (wish for wish in others if self._opens(wishes.less(wish, name), name))
        each = (wish for wish in others if not self._opens(alone(wish), name))
        return next(without, None) or next(each, None)

    def _opens(self, wishes: Wishes, name: str, *, busy: bool = True) -> bool:
        """Whether any crew has a start for a field, whatever it does before."""
        finite = np.isfinite(self.choices.value[:, self._index(name)])
        open_ = finite & ~self._barred(wishes)[:, self._index(name)]
        return any(
            (open_ & ~(crew.barred if busy else crew.off)[:, self._index(name)])[list(unit)].any()
            for crew in self._crews
            for unit in crew.units
        )

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
            tuple(
                self._index(step.field)
                for step in before.steps
                if step.sprayer in {choices.sprayers[k] for k in unit}
                and step.field in choices.fields
            )
            for unit in choices.driven
        )

    def _with_first(
        self, crew: Crew, choices: Choices, wishes: Wishes, at_most_s: float, *, passes: int
    ) -> DayPlan:
        """Try the next starts of a field as the first job of its unit."""
        name = wishes.first or ""
        f = self._index(name)
        best: tuple[float, Orders, int, Order] | None = None
        for unit, sprayers in enumerate(choices.driven):
            for k in sprayers:
                for b in np.flatnonzero(np.isfinite(choices.value[k, f]))[:_FIRST_STARTS]:
                    barred = self._before_first(choices, sprayers, k, f, int(b))
                    tried = Orders(choices.without(barred))
                    order = _begun_with(tried.greedy(), unit, f)
                    worth = tried.timed(order).worth
                    if np.isfinite(worth) and (best is None or worth > best[0]):
                        best = worth, tried, unit, order
        if best is None:
            raise WishError(Wish.FIRST, name, self._in_the_way(wishes, name))
        # Only the start that is worth most by greed is planned well: that takes time.
        worth, tried, unit, order = best
        better = _begun_with(self._order(tried, None, at_most_s, passes=passes), unit, f)
        if tried.timed(better).worth > worth:
            order = better
        return self._read(crew, tried, order, wishes)

    def _before_first(
        self, choices: Choices, unit: Sequence[int], k: int, f: int, b: int
    ) -> NDArray[np.bool_]:
        """Return what is barred where a unit begins with a field at a start. [K, F, B]"""
        barred = np.zeros(choices.chance.shape, dtype=bool)
        change_s = choices.change_s[choices.state[k, f, b]]
        for own in unit:
            barred[own] = choices.starts < choices.ends_s[k, f, b] + change_s[choices.state[own]]
        barred[:, f] = True
        barred[k, f, b] = False
        return barred

    def dispatched(self) -> DayPlan:
        """Return what is done without a plan: whoever is free takes the scarcest open field."""
        crew = self._promising(Wishes(), None)[0]
        choices = self._with_crew(crew, self._barred(Wishes()))
        order, timed = dispatched(choices)
        return self._as_timed(crew, choices, order, timed, Wishes())

    def _read(self, crew: Crew, orders: Orders, order: Order, wishes: Wishes) -> DayPlan:
        return self._as_timed(crew, orders.choices, order, orders.timed(order), wishes)

    def _as_timed(
        self, crew: Crew, choices: Choices, order: Order, timed: Timed, wishes: Wishes
    ) -> DayPlan:
        steps = []
        for driver, fields, jobs in zip(crew.drivers, order, timed.jobs, strict=True):
            last: int | None = None
            for f, (k, b) in zip(fields, jobs, strict=True):
                state = int(choices.state[k, f, b])
                steps.append(
                    PlanStep(
                        sprayer=choices.sprayers[k],
                        field=choices.fields[f],
                        setup=self._setups[self._of[k, f, b]],
                        starts_at=int(choices.starts[b]),
                        ends_at=round(float(choices.ends_s[k, f, b])),
                        chance=float(choices.chance[k, f, b]),
                        change_s=0.0 if last is None else float(choices.change_s[last, state]),
                        driver=driver,
                        part=float(self._parts[k, f, b]),
                    )
                )
                last = state
        planned = {step.field for step in steps}
        left = [name for name in choices.fields if name not in planned]
        return DayPlan(
            at=int(choices.starts[0]),
            steps=tuple(sorted(steps, key=lambda s: (s.starts_at, s.sprayer))),
            worth=timed.worth,
            left_out={name: self._why(name, wishes) for name in left},
        )

    def _why(self, name: str, wishes: Wishes) -> NotPlanned:
        f = self._index(name)
        if np.isnan(self.choices.chance[:, f]).all():
            return NotPlanned.NOT_KNOWN
        if not np.isfinite(self.choices.value[:, f]).any():
            return NotPlanned.NO_HOUR
        if not self._opens(Wishes(), name, busy=False):
            return NotPlanned.NOBODY
        if self._opens(Wishes(), name) and not self._opens(wishes, name):
            return _BY_WISH.get(self._in_the_way(wishes, name), NotPlanned.WISHED)
        return NotPlanned.NO_TIME


def _begun_with(order: Order, unit: int, f: int) -> Order:
    """Return an order in which a unit begins with a field that no other has."""
    if f in order[unit]:
        return order
    return (*order[:unit], (f, *order[unit]), *order[unit + 1 :])


_BY_WISH: Mapping[Wish | None, NotPlanned] = {
    Wish.ONLY_WITH: NotPlanned.ONLY_WITH,
    Wish.HOME_BY: NotPlanned.HOME_BY,
    Wish.OUT: NotPlanned.OUT,
}
