"""What would bring a field that is stopped, or not open, within its limits; each with its price.

Every remedy is tried: the field is judged anew with the change, by the one judgement. Nothing is
offered that is not within every limit then, or is not known to be, and none that would hold only
by a limit that it cannot lift (see ``Lift``): no tip and no lower boom lifts a wind's bound.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from itertools import combinations
from math import inf, isfinite, nan, sqrt

import numpy as np

from watcher.farm import Farm
from watcher.farm.geometry.bearings import Reach
from watcher.farm.models import Adjuvant, NozzleKind, Origin, Setup, Sprayer
from watcher.farm.rules.equipment import DirectionBan
from watcher.judge.farm_judgement import Look, judge_look
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import neighbour_deposits
from watcher.judge.ranking import Ranking
from watcher.judge.reasons import downwind_neighbours
from watcher.limits.application import WORKING_PRESSURE_PA, finer_from
from watcher.limits.boom_wind import boom_wind
from watcher.limits.catalogue import CATALOGUE, Lift, Limit
from watcher.limits.drift import Drift, deposit_limit
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.hours import ends
from watcher.limits.neighbours import neighbour_limits
from watcher.limits.status import LimitState, Status


class ChangeKind(StrEnum):
    """What may be changed."""

    TIPS = "other tips"
    BOOM = "lower boom"
    SLOWER = "slower"
    RETARDANT = "drift retardant"
    STRIPS = "strips left"
    FIELD = "another field"
    WAIT = "wait"


@dataclass(frozen=True)
class Change:
    """One thing to change."""

    kind: ChangeKind
    name: str = ""
    """The setup, product or field it leads to."""
    value: float = nan
    """Of a boom its height [m], of a speed the speed [m/s], of waiting until when [epoch s]."""
    takes_s: float = 0.0
    by_hand: bool = False
    """Of tips: whether they are changed by hand, not turned."""
    passes: int = 0
    neighbours: tuple[str, ...] = ()
    """Beside whom strips are left."""


@dataclass(frozen=True)
class Remedy:
    """One change, or two together, with what it gains and what it costs. Times are epoch s."""

    changes: tuple[Change, ...]
    until: int
    """Until when it holds, as far as that is known."""
    whole: bool
    """Whether that is long enough for all that is left."""
    drift_before: float = nan
    """Upper estimate at the worst neighbour as a share of what it stands; NaN: not judged."""
    drift_after: float = nan
    loss_pct: float = 0.0
    """More loss of weed control, in points; negative where less is lost."""
    takes_s: float = 0.0
    left_m2: float = 0.0
    """Ground left unsprayed."""
    left_share: float = 0.0

    @property
    def cost_min(self) -> float:
        """Everything it costs in minutes of work, to compare by."""
        adds = any(c.kind is ChangeKind.RETARDANT for c in self.changes)
        worth = _POINT_MIN * (max(self.loss_pct, 0.0) + 100.0 * self.left_share)
        return round(self.takes_s / 60.0 + worth + _PRODUCT_MIN * adds, 1)


@dataclass(frozen=True)
class Case:
    """A field with a setup at one time, as indices, and what is known of its job."""

    judgement: Judgement
    look: Look
    """The weather the field is judged by."""
    at: tuple[int, int, int]
    left_s: float | None = None
    """Of a job under way the planned spraying time left; None: not begun."""
    ranking: Ranking | None = None
    busy: Collection[str] = ()
    """Fields that are being sprayed."""

    @cached_property
    def farm(self) -> Farm:
        return self.judgement.plan.farm

    @property
    def field(self) -> str:
        return self.judgement.plan.fields[self.at[0]]

    @property
    def setup(self) -> str:
        return self.judgement.plan.setups[self.at[1]]

    @property
    def running(self) -> bool:
        return self.left_s is not None

    @property
    def now(self) -> int:
        return int(self.judgement.series.times[self.at[2]])


# Choices of ours, to compare costs of different kinds by.
_POINT_MIN = 10.0
"""A point of weed control lost, and a percent of the field left, are worth so many minutes."""
_PRODUCT_MIN = 5.0
_OTHER_FIELD_S = 30 * 60.0
"""To fold, move on and begin elsewhere."""
# Common practice, no source.
_BOOM_S = 60.0
_MIX_S = 10 * 60.0
_LEAST_GAIN_S = 10 * 60
"""What holds for less than this once it is done is no remedy."""
_PUMPED_MIN = 30.0
"""A retardant that the pump wears is judged as it is after so long, and for no longer."""
_MOST_PASSES = 12
_MOST_LEFT = 0.5
"""Strips that leave more than this share of a field are no way to spray it."""
_LOOKS_AHEAD_S = 12 * 3600
_MOST = 8
_SLOWER_BY = sqrt(1.0 / finer_from(reference_pa=1.0))
"""No slower than the spray stays of its class: the pressure falls with the square."""
_ALL = frozenset(Limit)
_OF_SETUP = frozenset(limit for limit, e in CATALOGUE.items() if Lift.SETUP in e.lifted_by)
_OF_PLACE = frozenset({Limit.DEPOSIT, Limit.NEIGHBOUR})
_OF_THE_REST = frozenset({Limit.RAIN_AFTER, Limit.RAIN_AHEAD})
"""Counted from the end of a job: of one under way they are judged anew for what is left."""


def remedies(case: Case) -> tuple[Remedy, ...]:
    """Return every remedy that leads to within the limits, the best first.

    First what holds for all that is left of the job, then what costs least; of what holds for a
    part, what holds longest. Pairs only where neither of the two does by itself.
    """
    judgement = case.judgement
    if (judgement.instant if case.running else judgement.status)[case.at] >= Status.MARGINAL:
        return ()
    found = _Found(case)
    here = list(_undominated([*found.of_equipment(), *found.with_retardants(), *found.strips()]))
    ordered = sorted([*here, *_other_field(case), *found.waiting()], key=_order)
    return tuple(ordered[:_MOST])


def _order(remedy: Remedy) -> tuple[bool, float, float, int]:
    half_hours = 0.0 if remedy.whole else -float(remedy.until // 1800)
    return (not remedy.whole, half_hours, remedy.cost_min, len(remedy.changes))


def _undominated(found: Sequence[Remedy]) -> Iterator[Remedy]:
    """Leave out pairs of which one alone does as well."""
    alone = {(c.kind, c.name): r for r in found if len(r.changes) == 1 for c in r.changes}
    for remedy in found:
        singles = [alone.get((c.kind, c.name)) for c in remedy.changes]
        if len(remedy.changes) == 1 or not any(
            s is not None and (s.whole or s.until >= remedy.until) for s in singles
        ):
            yield remedy


@dataclass(frozen=True)
class _Rig:
    """The setup and its sprayer with some changes."""

    changes: tuple[Change, ...]
    setup: Setup
    sprayer: Sprayer

    @property
    def takes_s(self) -> float:
        return sum(c.takes_s for c in self.changes)


@dataclass(frozen=True)
class _Judged:
    """Rigs of one field, each judged like a setup; the unchanged one first."""

    rigs: Sequence[_Rig]
    judgement: Judgement

    def bad(self, row: int, limits: Collection[Limit] | None = None) -> Bools:
        """Whether a limit is broken or unknown, of those named or of all. [T]"""
        shape = self.judgement.instant.shape
        out = np.zeros(shape[2], dtype=bool)
        for checked in self.judgement.checks:
            counts = checked.limit is not Limit.BEGIN and (
                limits is None or checked.limit in limits
            )
            if counts:
                stand = np.broadcast_to(checked.stand, shape)[0, row]
                out |= stand <= LimitState.UNKNOWN
        return out

    def value(self, row: int, time: int) -> float:
        """Return the deposit at the worst neighbour as a share of what it stands; NaN without."""
        for checked in self.judgement.checks:
            if checked.limit is Limit.DEPOSIT:
                shape = self.judgement.instant.shape
                return float(np.broadcast_to(checked.value, shape)[0, row, time])
        return nan


@dataclass(frozen=True)
class _Found:
    """The remedies of one case, as far as they are asked for."""

    case: Case

    @cached_property
    def blocked(self) -> frozenset[Limit]:
        """The limits that do not hold now, by the judgement as it is."""
        judgement, at = self.case.judgement, self.case.at
        shape = judgement.instant.shape
        passed = {Limit.BEGIN} | (_OF_THE_REST if self.case.running else frozenset())
        return frozenset(
            c.limit
            for c in judgement.checks
            if c.limit not in passed and np.broadcast_to(c.stand, shape)[at] <= LimitState.UNKNOWN
        )

    @property
    def curable(self) -> bool:
        """Whether anything that is done on the sprayer or in the field can lift what stands."""
        return bool(self.blocked) and self.blocked <= _OF_SETUP | _OF_PLACE

    @cached_property
    def plan(self) -> FarmArrays:
        """The farm with the field of the case only, and what is left of it."""
        plan, (index, setup, _) = self.case.judgement.plan, self.case.at
        field, left = self.case.field, plan.left
        if self.case.left_s is not None:
            share = max(self.case.left_s / float(plan.duration_s[index, setup]), 1e-3)
            left = {field: left.get(field, 1.0) * min(share, 1.0)}
        return replace(plan.only((field,)), left=left)

    @cached_property
    def rigs(self) -> tuple[_Rig, ...]:
        """The unchanged rig, each change of it and each two of them."""
        config = self.case.farm.config
        setup = config.setups[self.case.setup]
        base = _Rig((), setup, config.sprayers[setup.sprayer])
        tips = list(self._tips(base))
        singles = [*tips, *_handling(base)]
        pairs = [replace(b, changes=(*t.changes, *b.changes)) for t in tips for b in _handling(t)]
        both = [
            replace(b, changes=(*a.changes, *b.changes), sprayer=_both(a.sprayer, b.sprayer))
            for a, b in combinations(_handling(base), 2)
        ]
        return (base, *singles, *pairs, *both)

    def _tips(self, base: _Rig) -> Iterator[_Rig]:
        """Rigs with the tips of other setups the field may use.

        Of a job under way those of its sprayer at the rate the tank is mixed for, with what is in
        the tank.
        """
        plan, config = self.case.judgement.plan, self.case.farm.config
        for number, name in enumerate(plan.setups):
            other = config.setups[name]
            if name == self.case.setup or not plan.allowed[self.case.at[0], number]:
                continue
            if not self.case.running:
                yield _Rig((Change(ChangeKind.TIPS, name),), other, config.sprayers[other.sprayer])
                continue
            same_mix = abs(other.carrier / base.setup.carrier - 1.0) < 0.01
            if other.sprayer != base.setup.sprayer or not same_mix:
                continue
            turned = name in base.sprayer.tips
            takes = base.sprayer.tips_changed_in(name)
            in_tank = {k: getattr(base.setup, k) for k in ("carrier", "adjuvant", "additives")}
            yield _Rig(
                (Change(ChangeKind.TIPS, name, takes_s=takes, by_hand=not turned),),
                other.model_copy(update=in_tank),
                base.sprayer,
            )

    @cached_property
    def judged(self) -> _Judged:
        """Every rig of the field, judged."""
        return self._judge(self.rigs, ())

    def _judge(self, rigs: Sequence[_Rig], added: Sequence[str]) -> _Judged:
        config, name = self.case.farm.config, self.case.field
        entry = config.fields[name]
        names = [str(number) for number in range(len(rigs))]
        changed = config.model_copy(
            update={
                "setups": {
                    n: r.setup.model_copy(update={"sprayer": n})
                    for n, r in zip(names, rigs, strict=True)
                },
                "sprayers": {n: r.sprayer for n, r in zip(names, rigs, strict=True)},
                "fields": {
                    name: entry.model_copy(
                        update={"setups": (), "products": (*entry.products, *added)}
                    )
                },
            }
        )
        plan = replace(
            self.plan,
            farm=Farm(changed, self.case.farm.ground),
            setups=tuple(names),
            pumped_min=_PUMPED_MIN if added else self.plan.pumped_min,
        )
        return _Judged(rigs, judge_look(plan, self.case.look))

    def of_equipment(self) -> Iterator[Remedy]:
        """Yield what other tips, a lower boom and going slower bring, and two of them."""
        if not self.curable:
            return
        for row in range(1, len(self.rigs)):
            yield from self._offered(self.judged, row)

    def with_retardants(self) -> Iterator[Remedy]:
        """Yield what a drift retardant brings, by itself and with one change more."""
        config = self.case.farm.config
        none_yet = self.rigs[0].setup.adjuvant is Adjuvant.NONE
        for name, product in config.products.items():
            if product.retardant is None or not none_yet or not self.curable:
                continue
            change = Change(ChangeKind.RETARDANT, name, takes_s=_MIX_S)
            called = (*product.retardant.called, product.name)
            rigs = [
                _Rig(
                    (*rig.changes, change),
                    rig.setup.model_copy(
                        update={
                            "adjuvant": product.retardant.adjuvant,
                            "additives": (*rig.setup.additives, *called),
                        }
                    ),
                    rig.sprayer,
                )
                for rig in self.rigs
                if len(rig.changes) < 2 and rig.setup.nozzle is not NozzleKind.AIR_INDUCTION
            ]
            if not rigs:
                continue
            judged = self._judge(rigs, (name,))
            worn = product.retardant.adjuvant is Adjuvant.POLYACRYLAMIDE
            lasts = self.case.now + 60.0 * _PUMPED_MIN if worn else inf
            for row in range(len(rigs)):
                yield from self._offered(judged, row, lasts=lasts)

    def _offered(self, judged: _Judged, row: int, *, lasts: float = inf) -> Iterator[Remedy]:
        """Yield a rig as a remedy, where it leads to within every limit for long enough."""
        case, time = self.case, self.case.at[2]
        begun = judged.judgement.instant if case.running else judged.judgement.status
        if begun[0, row, time] < Status.MARGINAL:
            return
        kept = self.judged.bad(0, _ALL - _OF_SETUP)
        yield from self._remedy(
            judged, row, judged.bad(row) | kept, lasts=lasts, after=judged.value(row, time)
        )

    def _remedy(
        self,
        judged: _Judged,
        row: int,
        bad: Bools,
        *,
        after: float,
        lasts: float = inf,
        strip: Change | None = None,
    ) -> Iterator[Remedy]:
        rig, judgement, case = judged.rigs[row], judged.judgement, self.case
        until = min(self._until(bad, case.at[2]), lasts)
        ready = case.now + rig.takes_s
        if until < ready + _LEAST_GAIN_S:
            return
        left = self._left_m2(strip)
        area = self.case.farm.ground.area_m2(case.field)
        if left > _MOST_LEFT * area:
            return
        yield Remedy(
            changes=rig.changes if strip is None else (*rig.changes, strip),
            until=int(until),
            whole=until >= ready + float(judgement.plan.duration_s[0, row]),
            drift_before=self.judged.value(0, case.at[2]),
            drift_after=after,
            loss_pct=float(
                judgement.plan.loss_pct[0, row] - self.judged.judgement.plan.loss_pct[0, 0]
            ),
            takes_s=rig.takes_s,
            left_m2=left,
            left_share=left / area,
        )

    def _until(self, bad: Bools, time: int) -> float:
        """When limits first do not hold, or are not known to; at once where they do not now."""
        series = self.case.judgement.of_field(self.case.at[0]).series
        later = np.flatnonzero(bad[time:])
        last = float(ends(series)[time + len(bad[time:]) - 1])
        first = float(series.times[time + later[0]]) if later.size else last
        return min(first, float(self.case.judgement.closes[self.case.at[0], time]))

    def strips(self) -> Iterator[Remedy]:
        """Yield what leaving strips beside neighbours brings, alone and with one change more.

        Only where nothing else stands against it than drift onto them, or a rule of the grower's
        own on winds towards them: a label's ban is of the whole field.
        """
        place = _OF_PLACE if self._own_direction else frozenset({Limit.DEPOSIT})
        if not self.curable or not self.blocked & place:
            return
        time, width = self.case.at[2], self.rigs[0].sprayer.boom_width
        kept = self.judged.bad(0, _ALL - _OF_SETUP - place)
        open_rows = [
            row
            for row, rig in enumerate(self.rigs)
            if len(rig.changes) < 2
            and rig.sprayer.boom_width == width
            and not (self.judged.bad(row, _ALL - place) | kept)[time]
            and self.judged.bad(row, place)[time]
        ]
        names = {row: self._minding(row, place) for row in open_rows}
        for beside in dict.fromkeys(names.values()):
            rows = [row for row in open_rows if names[row] == beside]
            yield from self._strips_beside(beside, rows, place, kept)

    def _strips_beside(
        self, beside: tuple[str, ...], rows: Sequence[int], place: frozenset[Limit], kept: Bools
    ) -> Iterator[Remedy]:
        """Try as many passes as it takes: for all that is left of the job, else for now."""
        best: dict[int, Remedy] = {}
        for passes in range(1, _MOST_PASSES + 1):
            change = Change(ChangeKind.STRIPS, passes=passes, neighbours=beside)
            judged = self._strip_stands(change, place)
            for row in rows:
                bad, after = judged[row]
                others = self.judged.bad(row, _ALL - place) | kept
                whole = np.ones(others.size, dtype=bool)
                whole[self.case.at[2] : self.case.at[2] + bad.size] = bad
                # Beyond what was tried nothing is claimed.
                cut = (others | whole)[: self.case.at[2] + bad.size]
                for remedy in self._remedy(self.judged, row, cut, after=after, strip=change):
                    if row not in best or (remedy.whole and not best[row].whole):
                        best[row] = remedy
            if all(row in best and best[row].whole for row in rows):
                break
        yield from best.values()

    def _strip_stands(self, strip: Change, place: frozenset[Limit]) -> list[tuple[Bools, float]]:
        """For every rig whether the limits on the place are bad with strips left, and the deposit.

        By the judgement's own limits, of a field whose edge lies so much further from them.
        """
        judgement, time = self.judged.judgement, self.case.at[2]
        plan, series = judgement.plan, judgement.series
        rest = float(plan.duration_s.max()) + _LOOKS_AHEAD_S
        last = int(np.searchsorted(series.times, self.case.now + rest)) + 1
        part = series.at(slice(time, last))
        reach, depth = plan.reach, strip.passes * self.rigs[0].sprayer.boom_width
        moved = np.array([self._name(p) in strip.neighbours for p in range(reach.pair_field.size)])
        gap = reach.gap_m + depth * moved[:, None]
        further = replace(
            plan, reach=Reach(reach.pair_field, reach.pair_neighbour, gap, reach.width_m)
        )
        shape = (1, len(plan.setups), len(part))
        bad = np.zeros(shape, dtype=bool)
        after = np.full(shape, nan)
        layering = judgement.inversion.obukhov_m[time:last]
        wind = boom_wind(further.kinds, part, layering)
        for checked in (
            *deposit_limit(further, Drift(further, part, layering)),
            *neighbour_limits(further, part, wind),
        ):
            if checked.limit not in place:
                continue
            bad |= np.broadcast_to(checked.stand, shape) <= LimitState.UNKNOWN
            if checked.limit is Limit.DEPOSIT:
                after = np.broadcast_to(checked.value, shape)
        return [(bad[0, row], float(after[0, row, 0])) for row in range(shape[1])]

    @property
    def _own_direction(self) -> bool:
        """Whether the rule on winds towards neighbours is the grower's own or ours."""
        plan = self.plan
        bans = any(isinstance(one.rule, DirectionBan) for one in plan.rules[0])
        return not bans and plan.windows[0].neighbours.origin is Origin.OWN

    def _minding(self, row: int, place: frozenset[Limit]) -> tuple[str, ...]:
        """Neighbours beside whom strips would have to be left, in the farm file's order."""
        judgement, time = self.judged.judgement, self.case.at[2]
        names = {e.neighbour for e in neighbour_deposits(judgement, 0, row, time) if e.over}
        if Limit.NEIGHBOUR in place and self.judged.bad(row, {Limit.NEIGHBOUR})[time]:
            reach = self.case.farm.config.judging.reach
            names |= {n.name for n in downwind_neighbours(judgement, 0, time) if n.gap_m <= reach}
        return tuple(name for name in self.case.farm.config.neighbours if name in names)

    def _name(self, pair: int) -> str:
        return list(self.case.farm.config.neighbours)[int(self.plan.reach.pair_neighbour[pair])]

    def _left_m2(self, strip: Change | None) -> float:
        if strip is None:
            return 0.0
        depth = strip.passes * self.rigs[0].sprayer.boom_width
        ground = self.case.farm.ground
        return ground.strips_m2(self.case.field, dict.fromkeys(strip.neighbours, depth))

    def waiting(self) -> Iterator[Remedy]:
        """Yield the next opening."""
        judgement, (index, setup, time) = self.case.judgement, self.case.at
        series = judgement.of_field(index).series
        opens = judgement.instant[index, setup] if self.case.running else judgement.best[index]
        later = np.flatnonzero(opens[time + 1 :] >= Status.MARGINAL)
        if not later.size:
            return
        first = time + 1 + int(later[0])
        at = int(series.times[first])
        rest = self.case.left_s
        if rest is None:
            rest = float(judgement.plan.duration_s[index, setup])
        until = self._until(opens < Status.MARGINAL, first)
        change = Change(ChangeKind.WAIT, value=float(at), takes_s=float(at - self.case.now))
        yield Remedy((change,), int(until), until >= at + max(rest, 0.0), takes_s=change.takes_s)


def _handling(base: _Rig) -> list[_Rig]:
    """The rig with a lower boom, and slower."""
    sprayer, found = base.sprayer, []
    if sprayer.lowest_boom is not None and sprayer.lowest_boom < sprayer.boom_height - 1e-6:
        change = Change(ChangeKind.BOOM, value=sprayer.lowest_boom, takes_s=_BOOM_S)
        lower = sprayer.model_copy(update={"boom_height": sprayer.lowest_boom})
        found.append(_Rig((change,), base.setup, lower))
    slow = _slower(base)
    if slow is not None:
        change = Change(ChangeKind.SLOWER, value=slow)
        found.append(_Rig((change,), base.setup, sprayer.model_copy(update={"speed": slow})))
    return found


def _slower(base: _Rig) -> float | None:
    """As slow as the sprayer goes at its rate with the spray still of its class. [m/s]"""
    sprayer, setup = base.sprayer, base.setup
    if sprayer.slowest is None:
        return None
    least = sprayer.speed * _SLOWER_BY
    if setup.pressure is not None:
        lowest = WORKING_PRESSURE_PA[setup.nozzle][0]
        least = max(least, sprayer.speed * sqrt(lowest / setup.pressure))
    slow = max(sprayer.slowest, least)
    return slow if slow < 0.98 * sprayer.speed else None


def _both(one: Sprayer, other: Sprayer) -> Sprayer:
    """A sprayer as low as the lower and as slow as the slower of two."""
    return one.model_copy(
        update={
            "boom_height": min(one.boom_height, other.boom_height),
            "speed": min(one.speed, other.speed),
        }
    )


def _other_field(case: Case) -> Iterator[Remedy]:
    """Yield the first field of the ranking that what is in the tank may go to as it is."""
    judgement, (_, setup, time) = case.judgement, case.at
    config, plan = case.farm.config, judgement.plan
    if case.ranking is None or not case.running:
        return
    mix = set(config.fields[case.field].products)
    for seen in case.ranking.spray:
        other = plan.fields.index(seen.field)
        fits = (
            seen.field != case.field
            and seen.field not in case.busy
            and set(config.fields[seen.field].products) == mix
            and config.fields[seen.field].window == config.fields[case.field].window
            and plan.allowed[other, setup]
            and judgement.status[other, setup, time] >= Status.MARGINAL
        )
        if not fits:
            continue
        until = float(judgement.breaks_at[other, setup, time])
        known = np.flatnonzero(judgement.instant[other, setup, time:] <= Status.UNKNOWN)
        series = judgement.of_field(other).series
        if known.size:
            until = min(until, float(series.times[time + known[0]]))
        until = min(until, float(ends(series)[-1]))
        rest = max(case.left_s or 0.0, 0.0)
        if not isfinite(until) or until < case.now + _OTHER_FIELD_S + _LEAST_GAIN_S:
            continue
        change = Change(ChangeKind.FIELD, seen.field, takes_s=_OTHER_FIELD_S)
        whole = until >= case.now + _OTHER_FIELD_S + rest
        yield Remedy((change,), int(until), whole, takes_s=_OTHER_FIELD_S)
        return
