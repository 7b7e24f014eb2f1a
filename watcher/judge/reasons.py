"""One case explained: every limit with value, bound, origin and room left, the binding one first.

Data only. Wording is made from it at the edge.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from watcher.farm.models import Origin, Susceptibility
from watcher.farm.rules.equipment import DirectionBan
from watcher.farm.rules.mix import RuleOf
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import NeighbourDeposit, neighbour_deposits
from watcher.limits.boom_wind import calm_to
from watcher.limits.buffers import LeftStrip, strips_m
from watcher.limits.catalogue import CATALOGUE, Limit
from watcher.limits.check import Checked, Knowledge
from watcher.limits.downwind import gap_downwind, sector
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Band, LimitState

OF_RULES_ONLY = {limit for limit, e in CATALOGUE.items() if e.key.startswith("rules.")}
"""Limits that no window writes: a field without a rule on them has nothing to say of them."""


@dataclass(frozen=True)
class Reason:
    """How one limit stands for one field, setup and time. SI, as the limit's quantity is held."""

    limit: Limit
    stand: LimitState
    value: float
    low: float
    high: float
    origin: Origin
    headroom: float
    neighbours: tuple[str, ...] = ()
    """Who lies downwind, nearest first; for the limits towards neighbours."""
    deposits: tuple[NeighbourDeposit, ...] = ()
    """What may land on each neighbour, worst first; for drift onto a neighbour."""
    rule: RuleOf | None = None
    """The rule that decides, of a label or law; None where the window does."""
    strips: tuple[LeftStrip, ...] = ()
    """What stays unsprayed beside each neighbour, the deepest first; for buffers."""
    known: Knowledge = Knowledge.EXACT
    """Whether ``value`` is the value, or the most or the least that it may be."""
    missing: tuple[str, ...] = ()
    """Of an unknown limit the quantities that are not known well enough to judge it."""
    estimate: Origin | None = None
    """Whose the estimate is that ``value`` is, of a loss of weed control."""
    low_origin: Origin | None = None
    """Whose the low bound is; None where there is none or nobody in particular has set it."""
    high_origin: Origin | None = None
    side: Literal["low", "high"] | None = None
    """The bound that acted, or that the value is nearer to; None where it is not held to any."""
    upper_from: float | None = None
    """Of a wind that is near because it is in the upper part of its range, where that begins."""
    upper_origin: Origin = Origin.DEFAULT
    """Whose that share of the range is."""
    derived: bool = False
    """Whether its bound is not given but follows from the wind's, as a gust's may."""


_NEEDS = {
    Limit.INVERSION: ("wind_m_s", "temp_c", "cloud_pct"),
    Limit.WIND: ("wind_m_s",),
    Limit.GUST: ("gust_m_s", "wind_m_s"),
    Limit.NEIGHBOUR: ("wind_m_s", "wind_from_deg"),
    Limit.NO_SPRAY: ("wind_m_s", "wind_from_deg"),
    Limit.DEPOSIT: ("wind_m_s", "wind_from_deg"),
    Limit.RAIN_AFTER: ("rain_mm_h",),
    Limit.RAIN_BEFORE: ("rain_mm_h",),
    Limit.DELTA_T: ("temp_c", "humidity_pct"),
    Limit.LEAF_DRY: ("rain_mm_h", "humidity_pct", "dew_point_c"),
    Limit.DROPLETS_IN_WIND: ("wind_m_s",),
}
"""Quantities each limit is judged by, the one that is most its own first; those held against their
bounds as they are stand in the catalogue of limits."""


@dataclass(frozen=True)
class DownwindNeighbour:
    """A neighbour the spray may go to: its name and the gap along the wind. [m]"""

    name: str
    gap_m: float


def reasons(judgement: Judgement, field: int, setup: int, time: int) -> list[Reason]:
    """Every limit of one case: broken first, then unknown, near and holding; least room first."""
    judgement, time = judgement.of_field(field).around(time)
    case = (field, setup, time)
    return worst_first(_reason(judgement, checked, case) for checked in _asked(judgement, case))


def deciding(judgement: Judgement, field: int, setup: int, time: int) -> list[Reason]:
    """What decides a case: every limit that does not hold, else the one that binds.

    Those that hold are not worked out: who lies downwind of a field, and what lands there.
    """
    here, index = judgement.of_field(field).around(time)
    case = (field, setup, index)
    found = [
        _reason(here, checked, case)
        for checked in _asked(here, case)
        if _at(checked.stand, case) < LimitState.HOLDS
    ]
    return worst_first(found) or [binding(judgement, field, setup, time)]


def binding(judgement: Judgement, field: int, setup: int, time: int) -> Reason:
    """The first of the reasons, without working the others out."""
    judgement, time = judgement.of_field(field).around(time)
    case = (field, setup, time)

    def order(checked: Checked) -> tuple[int, float]:
        return _order(int(_at(checked.stand, case)), float(_at(checked.headroom, case)))

    return _reason(judgement, min(_asked(judgement, case), key=order), case)


def worst_first(found: Iterable[Reason]) -> list[Reason]:
    """Order limits of one case: broken, unknown, near, holding; the least room first in each."""
    return sorted(found, key=lambda r: _order(r.stand, r.headroom))


def _order(stand: int, headroom: float) -> tuple[int, float]:
    return stand, -np.inf if np.isnan(headroom) else headroom


def _asked(judgement: Judgement, case: tuple[int, int, int]) -> Iterator[Checked]:
    """Yield the limits that ask something in a case."""
    for checked in judgement.checks:
        of_rule = checked.rule is not None and _at(checked.rule, case) >= 0
        if of_rule or checked.limit not in OF_RULES_ONLY:
            yield checked


def _at(values: NDArray[Any], index: tuple[int, int, int]) -> Any:
    """One case's value of an array that broadcasts to [F, S, T]."""
    own = zip(index[-values.ndim :], values.shape, strict=True) if values.ndim else ()
    return values[tuple(i if size > 1 else 0 for i, size in own)]


def _reason(judgement: Judgement, checked: Checked, index: tuple[int, int, int]) -> Reason:
    limit, field = checked.limit, index[0]
    who: tuple[str, ...] = ()
    if limit in {Limit.NEIGHBOUR, Limit.NO_SPRAY}:
        who = tuple(n.name for n in downwind_neighbours(judgement, field, index[2]))
    landing = neighbour_deposits(judgement, *index) if limit is Limit.DEPOSIT else []
    value = float(_at(checked.value, index))
    number = -1 if checked.rule is None else int(_at(checked.rule, index))
    rule = judgement.plan.rules[field][number] if number >= 0 else None
    stand = LimitState(int(_at(checked.stand, index)))
    known = Knowledge.EXACT
    if checked.known is not None:
        known = Knowledge(int(_at(checked.known, index)))
    low, high = float(_at(checked.low, index)), float(_at(checked.high, index))
    upper = _upper_from(judgement, index) if limit is Limit.WIND and rule is None else None
    upper = None if stand is not LimitState.NEAR else upper
    side = "high" if upper is not None else _side(value, low, high)
    low_origin, high_origin = _origins(judgement.plan, limit, field, rule, (low, high))
    by_side = low_origin if side == "low" else high_origin
    origin = by_side or (rule.rule.origin if rule else _origin(judgement.plan, limit, field, who))
    return Reason(
        limit=limit,
        stand=stand,
        value=value,
        low=low,
        high=high,
        low_origin=low_origin,
        high_origin=high_origin,
        side=side,
        upper_from=upper,
        upper_origin=Origin.of_key(judgement.plan.farm.config.judging, "calm_share"),
        origin=landing[0].origin if landing and rule is None else origin,
        rule=rule,
        headroom=float(_at(checked.headroom, index)),
        neighbours=who,
        deposits=tuple(landing),
        strips=left_strips(judgement, *index) if limit is Limit.NO_SPRAY else (),
        known=known,
        missing=_missing(judgement, limit, index[2])
        if stand is LimitState.UNKNOWN and (not landing or landing[0].estimated)
        else (),
        estimate=judgement.plan.losses[field][index[1]].origin if limit is Limit.CONTROL else None,
        derived=rule is None
        and limit is Limit.GUST
        and judgement.plan.bounds[limit].derived[field],
    )


def _missing(judgement: Judgement, limit: Limit, time: int) -> tuple[str, ...]:
    needs = _needs(judgement.plan, limit)
    gone = tuple(n for n in needs if np.isnan(getattr(judgement.series, n)[time]))
    return gone or needs[:1]  # it is known, but not for as long as the limit asks, or not exactly


def _needs(plan: FarmArrays, limit: Limit) -> tuple[str, ...]:
    column = CATALOGUE[limit].quantity
    if column is not None:
        return (column,)
    sources = plan.farm.config.sources.values()
    if limit is Limit.LEAF_DRY and any("leaf_wetness" in entry.measures for entry in sources):
        return ("leaf_wet_pct",)  # nothing stands in for a sensor
    return _NEEDS.get(limit, ())


def _side(value: float, low: float, high: float) -> Literal["low", "high"] | None:
    """Which of two bounds a value is nearer to, or has passed."""
    if not np.isfinite(low) and not np.isfinite(high):
        return None
    if not np.isfinite(low) or high - value < value - low:
        return "high"
    return "low"


def _upper_from(judgement: Judgement, index: tuple[int, int, int]) -> float | None:
    """Where the upper part of the wind's range begins, if the wind is in it. [m/s]"""
    if judgement.boom.band[index] != Band.MARGINAL:
        return None
    return calm_to(judgement.plan, index[0], index[1])


def _origins(
    plan: FarmArrays,
    limit: Limit,
    field: int,
    rule: RuleOf | None,
    bounds: tuple[float, float],
) -> tuple[Origin | None, Origin | None]:
    """Whose each of a limit's bounds is."""
    if rule is not None:
        whose = rule.rule.origin, rule.rule.origin
    elif limit in plan.bounds:
        whose = plan.bounds[limit].low_origin[field], plan.bounds[limit].origin[field]
    else:
        return None, None
    low, high = (
        of if np.isfinite(bound) else None for of, bound in zip(whose, bounds, strict=True)
    )
    return low, high


def _origin(plan: FarmArrays, limit: Limit, field: int, downwind: Sequence[str]) -> Origin:
    """Whose a limit is that is not held between bounds of a window, or has none there."""
    if limit in plan.bounds:
        return plan.bounds[limit].origin[field]
    if limit is Limit.NO_SPRAY:  # the label's by definition
        return Origin.LABEL
    bans = (of.rule for of in plan.rules[field] if isinstance(of.rule, DirectionBan))
    if limit is Limit.NEIGHBOUR:
        ban = next(bans, None)
        return _towards(plan, field, downwind) if ban is None else ban.origin
    if limit is Limit.CONTROL:
        return plan.loss_origin(field)
    # What a window does not say of the others is ours, and so is what drift may do to nobody.
    rule = getattr(plan.windows[field], CATALOGUE[limit].key, None)
    origin: Origin = Origin.DEFAULT if rule is None else rule.origin
    return origin


def _towards(plan: FarmArrays, field: int, downwind: Sequence[str]) -> Origin:
    """Whose the rule on winds towards neighbours is: that on the most susceptible one downwind.

    With nobody downwind it is that beside a very susceptible one, which asks for calm all round.
    """
    rule, there = plan.windows[field].neighbours, plan.farm.config.neighbours
    kinds = {there[name].susceptibility for name in downwind}
    if Susceptibility.SUSCEPTIBLE in kinds and Susceptibility.VERY_SUSCEPTIBLE not in kinds:
        return rule.origin_of("susceptible")
    return rule.origin_of("very_susceptible")


def left_strips(judgement: Judgement, field: int, setup: int, time: int) -> tuple[LeftStrip, ...]:
    """What a field leaves unsprayed beside its neighbours at a time, the deepest first."""
    plan = judgement.plan
    arc = sector(plan, judgement.series.at(slice(time, time + 1)))
    depths = strips_m(plan, gap_downwind(plan.reach.gap_m, arc), arc.known)[:, setup, 0]
    own = np.flatnonzero((plan.reach.pair_field == field) & (depths > 0)).tolist()
    found = [plan.buffers.strip(pair, setup, float(depths[pair])) for pair in own]
    return tuple(sorted(found, key=lambda s: (-s.depth_m, s.neighbour)))


def downwind_neighbours(judgement: Judgement, field: int, time: int) -> list[DownwindNeighbour]:
    """Who lies downwind of a field at a time, nearest first."""
    plan = judgement.plan
    pairs = np.flatnonzero(plan.reach.pair_field == field)
    moment = judgement.series.at(slice(time, time + 1))
    arc = sector(plan, moment)
    if not pairs.size or not arc.known[0]:
        return []
    gaps = gap_downwind(plan.reach.gap_m[pairs], arc)[:, 0]
    names = tuple(plan.farm.config.neighbours)
    found = [
        DownwindNeighbour(names[plan.reach.pair_neighbour[pair]], float(gap))
        for pair, gap in zip(pairs, gaps, strict=True)
        if np.isfinite(gap)
    ]
    return sorted(found, key=lambda n: (n.gap_m, n.name))
