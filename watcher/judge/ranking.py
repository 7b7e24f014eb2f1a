"""What to spray now, in which order; for the rest why not, and when next.

Calm air is scarce and goes to whoever has the fewest hours for it.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.farm.models import WeedPressure
from watcher.judge.chances import FarmChances, FieldChance
from watcher.judge.judgement import Judgement, Statuses
from watcher.judge.reasons import OF_RULES_ONLY, Reason, binding, deciding, reasons
from watcher.judge.setup_choice import choose_each
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import Bools
from watcher.limits.hours import ends
from watcher.limits.status import Band, LimitState, Status
from watcher.weather.series import Floats

_NEED = {WeedPressure.WEEDY: 0, WeedPressure.MODERATE: 1, WeedPressure.CLEAN: 2}


@dataclass(frozen=True, eq=False)
class Explained:
    """A field with a setup at a time. Why it stands as it does is worked out when it is read: of
    a hundred fields a minute hardly any is."""

    judgement: Judgement
    field: int
    setup: int
    time: int

    @cached_property
    def reasons(self) -> tuple[Reason, ...]:
        """Every limit, the binding one first."""
        return tuple(reasons(self.judgement, self.field, self.setup, self.time))

    @cached_property
    def binding(self) -> Reason:
        """The limit that binds."""
        return binding(self.judgement, self.field, self.setup, self.time)

    @property
    def deciding(self) -> list[Reason]:
        """Every limit that does not hold, the worst first, else the one that binds."""
        return deciding(self.judgement, self.field, self.setup, self.time)

    def broken_longest(self, hours: slice) -> Limit | None:
        """The limit that is broken for most of some hours; None where none is."""
        judgement = self.judgement
        shape, case = judgement.instant.shape, (self.field, self.setup, hours)
        hours_h = (ends(judgement.series)[hours] - judgement.series.times[hours]) / 3600.0
        broken = {
            c.limit: float(
                hours_h[np.broadcast_to(c.stand, shape)[case] == LimitState.BROKEN].sum()
            )
            for c in judgement.checks
        }
        worst = max(broken, key=lambda limit: broken[limit])
        return worst if broken[worst] > 0 else None


@dataclass(frozen=True)
class FieldNow:
    """One field at the moment of the ranking. Times are epoch seconds."""

    field: str
    status: Status
    setup: str | None
    """The setup to use; where the field is not open, the one that comes closest."""
    case: Explained
    headroom: float
    """Room to the nearest of the limits that are known; infinite without any."""
    duration_s: float
    share_done: float
    """Share of the planned job done before limits break."""
    breaks_at: int | None
    usable_hours: float
    """Hours in the horizon the field can use: calm ones only where it needs calm."""
    can_wait_until: int | None = None
    """A breezier hour that is still open for it, while another field needs this calm."""
    opens_at: int | None = None
    """When it opens next, for a field that is not open now; None: not within the horizon."""
    closes_at: int | None = None
    """When no setup is open for it any more, for a field that is open now."""
    shut: slice | None = None
    """The times of the horizon, of a field that does not open within it."""
    left: float = 1.0
    """Share of the field that is still to be sprayed: its job is of that."""
    chance: FieldChance | None = None
    """How likely a job begun now holds; None where that is not known, or where it is not open."""
    opening: FieldChance | None = None
    """How likely one begun at ``opens_at`` holds, with the setup that is likeliest to then."""

    @cached_property
    def shut_by(self) -> Limit | None:
        """For a field that does not open within the horizon: the limit broken longest in it, for
        the setup that comes closest now."""
        return None if self.shut is None else self.case.broken_longest(self.shut)

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Every limit, the binding one first."""
        return self.case.reasons

    @property
    def binding(self) -> Reason:
        """The limit that binds."""
        return self.case.binding

    @property
    def scarcity(self) -> float:
        """Planned duration over the hours left for it; high goes first."""
        return self.duration_s / 3600.0 / self.usable_hours if self.usable_hours else np.inf


@dataclass(frozen=True)
class Ranking:
    """Fields in the order to spray them now, and the others in the order they open."""

    at: int
    spray: tuple[FieldNow, ...]
    rest: tuple[FieldNow, ...]
    done: tuple[FieldNow, ...] = ()
    """Fields sprayed lately: judged like the others, but nothing is asked of them."""

    @property
    def every(self) -> dict[str, FieldNow]:
        """Every field by name."""
        return {f.field: f for f in (*self.spray, *self.rest, *self.done)}


def with_chances(ranking: Ranking, chances: FarmChances) -> Ranking:
    """Return the ranking with how likely a job holds: begun now, or where a field opens next."""
    now = ranking.at

    def one(field: FieldNow) -> FieldNow:
        opens, name = field.opens_at, field.field
        return replace(
            field,
            chance=chances.now(name, field.setup or "", now, field.status),
            opening=None if opens is None else chances.likeliest(name, opens, now),
        )

    def each(fields: tuple[FieldNow, ...]) -> tuple[FieldNow, ...]:
        return tuple(map(one, fields))

    return replace(
        ranking, spray=each(ranking.spray), rest=each(ranking.rest), done=each(ranking.done)
    )


def rank(judgement: Judgement, time: int, *, done: Collection[str] = ()) -> Ranking:
    """Rank the fields at one index of the judged series, looking ahead over the horizon.

    ``done`` names the fields that have been sprayed; they neither compete for calm nor are ranked.
    """
    horizon = judgement.plan.farm.config.judging.horizon
    ahead = _Ahead(judgement, time, horizon)
    fields = [_field_now(ahead, f) for f in range(len(judgement.plan.fields))]
    calm_wanted = {
        f.field
        for i, f in enumerate(fields)
        if f.status >= Status.MARGINAL and judgement.plan.needs_calm[i] and f.field not in done
    }
    fields = [_may_wait(ahead, i, f, calm_wanted) for i, f in enumerate(fields)]
    wanted = [f for f in fields if f.field not in done]
    return Ranking(
        at=int(judgement.series.times[time]),
        spray=tuple(sorted((f for f in wanted if f.status >= Status.MARGINAL), key=ahead.order)),
        rest=tuple(sorted((f for f in wanted if f.status < Status.MARGINAL), key=ahead.opening)),
        done=tuple(f for f in fields if f.field in done),
    )


class _Ahead:
    """The hours from now to the horizon, laid out once for all fields."""

    def __init__(self, judgement: Judgement, time: int, horizon_s: float) -> None:
        self.judgement, self.time = judgement, time
        times = judgement.series.times
        now = times[time]
        self.hours = slice(time, int(np.searchsorted(times, now + horizon_s)))
        self.times = times[self.hours]
        until = np.minimum(ends(judgement.series)[self.hours], judgement.closes[:, self.hours])
        self.weights_h: Floats = (until - self.times) / 3600.0
        """Hours each time stands for, to the minute where the hours of the day close. [F, T]"""
        self.open: Bools = judgement.from_time(_best, self.hours) >= Status.MARGINAL
        by_setup = (judgement.from_time(_status, self.hours) >= Status.MARGINAL) & (
            judgement.plan.allowed[:, :, None]
        )
        self.setups = choose_each(judgement, time)
        self.headroom = _headroom(judgement, self.setups, time)
        band = judgement.plan.of_fields(judgement.wind.band[:, :, self.hours])
        self.open_calm: Bools = (by_setup & (band == Band.CALM)).any(axis=1)
        self.open_breezy: Bools = (by_setup & (band == Band.MARGINAL)).any(axis=1)

    def first(self, condition: Bools) -> int | None:
        """The first time ahead, now not counted, at which a field's condition [T] is true."""
        later = np.flatnonzero(condition[1:])
        return int(self.times[1 + later[0]]) if later.size else None

    def closing(self, field: int) -> int | None:
        """When a field that is open now closes: never later than the hours of the day do."""
        closes = float(self.judgement.closes[field, self.time])
        shut = self.first(~self.open[field])
        if closes > self.times[-1]:
            return shut
        return int(closes) if shut is None else min(int(closes), shut)

    def opening(self, field: FieldNow) -> tuple[float | str, ...]:
        """Sort key of the fields that are not open: the next to open first, then by need."""
        opens = np.inf if field.opens_at is None else field.opens_at
        return (opens, *self._need(field), field.field)

    def _need(self, field: FieldNow) -> tuple[int, bool]:
        plan = self.judgement.plan
        index = plan.fields.index(field.field)
        weeds = plan.farm.config.fields[field.field].weeds
        return _NEED[weeds], not bool(plan.beside_susceptible[index])

    def order(self, field: FieldNow) -> tuple[float | date | str, ...]:
        """Sort key of the fields to spray: total and stable, the name last.

        Whoever needs calm goes before whoever does not, so that a long job on a clean field does
        not take the calm from a short one on a weedy field.
        """
        plan = self.judgement.plan
        return (
            -field.status,
            not bool(plan.needs_calm[plan.fields.index(field.field)]),
            -_steps(field.scarcity),
            *self._need(field),
            plan.farm.config.fields[field.field].latest or date.max,
            -field.headroom,
            field.field,
        )


def _best(judgement: Judgement) -> Statuses:
    return judgement.best


def _status(judgement: Judgement) -> Statuses:
    return judgement.status


def _steps(scarcity: float) -> float:
    """Scarcity in steps of a tenth: smaller differences are noise, the next criterion decides."""
    return round(math.log(scarcity, 1.1)) if np.isfinite(scarcity) else np.inf


def _field_now(ahead: _Ahead, field: int) -> FieldNow:
    judgement, time = ahead.judgement, ahead.time
    plan = judgement.plan
    setup = int(ahead.setups[field])
    if setup < 0:
        raise ValueError(f"field {plan.fields[field]!r} has no setup; the farm file must name one")
    usable = ahead.open_calm[field] if plan.needs_calm[field] else ahead.open[field]
    here, index = judgement.around(time)
    breaks_at = here.breaks_at[field, setup, index]
    return FieldNow(
        field=plan.fields[field],
        status=Status(int(here.status[field, setup, index])),
        setup=plan.setups[setup],
        case=Explained(judgement, field, setup, time),
        headroom=float(ahead.headroom[field]),
        duration_s=float(plan.duration_s[field, setup]),
        share_done=float(here.share_done[field, setup, index]),
        breaks_at=int(breaks_at) if np.isfinite(breaks_at) else None,
        usable_hours=float(ahead.weights_h[field, usable].sum()),
        opens_at=None if ahead.open[field, 0] else ahead.first(ahead.open[field]),
        closes_at=ahead.closing(field) if ahead.open[field, 0] else None,
        left=plan.left.get(plan.fields[field], 1.0),
        shut=None if ahead.open[field].any() else ahead.hours,
    )


def _headroom(judgement: Judgement, setups: NDArray[np.intp], time: int) -> Floats:
    """Room to the nearest known limit of each field with its setup; infinite without any. [F]"""
    plan, fields = judgement.plan, np.arange(len(setups))
    judgement, time = judgement.around(time)
    shape = judgement.instant.shape
    least = np.full(len(setups), np.inf)
    for checked in judgement.found:

        def of(values: NDArray[Any]) -> NDArray[Any]:
            taken: NDArray[Any] = np.broadcast_to(plan.of_fields(values), shape)[
                fields, setups, time
            ]
            return taken

        room = of(checked.headroom)
        if checked.limit in OF_RULES_ONLY:
            asks = False if checked.rule is None else of(checked.rule) >= 0
            room = np.where(asks, room, np.inf)
        least = np.fmin(least, room)
    return least


def _may_wait(ahead: _Ahead, index: int, field: FieldNow, calm_wanted: set[str]) -> FieldNow:
    """Note a breezier hour the field could wait for while others need this calm."""
    plan = ahead.judgement.plan
    others = calm_wanted - {field.field}
    calm_now = ahead.open_calm[index, 0]
    if not calm_now or plan.needs_calm[index] or not others:
        return field
    return replace(field, can_wait_until=ahead.first(ahead.open_breezy[index]))
