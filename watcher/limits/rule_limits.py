"""The rules of labels and laws held against the weather, the hour and what is known of a field.

Every kind of field is judged by its own rules, each bound at its own height and averaging. Of
several rules on one thing the worst decides, and is named. Advice makes a field marginal at most;
what is not known never passes.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.farm.equipment import equipment_breaks
from watcher.farm.models import FieldPlan
from watcher.farm.origin import Force
from watcher.farm.rules.base import is_for
from watcher.farm.rules.calendar import ClockRule, DateRule, StageRule
from watcher.farm.rules.day_time import DayTime
from watcher.farm.rules.equipment import BulletinRule, PointsRule
from watcher.farm.rules.mix import RuleOf, gusts_count
from watcher.farm.rules.weather import (
    CalmDutyRule,
    DayHighRule,
    DeltaTRule,
    HumidityRule,
    InversionBan,
    RainAheadRule,
    RainNowRule,
    SoilRule,
    TemperatureRule,
    WindRule,
)
from watcher.limits.air import mixed_by_day, wet_bulb_depression, without_low
from watcher.limits.boom_wind import above_canopy
from watcher.limits.catalogue import CATALOGUE, Limit
from watcher.limits.check import Checked, Knowledge, Stands, between, bounded, ruled
from watcher.limits.day_time import openings
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.rule_values import (
    DayHighs,
    RainAhead,
    each_run,
    local_days,
    wind_ends,
    wind_for,
)
from watcher.limits.status import LimitState
from watcher.weather.inversion import Finding, Inversion
from watcher.weather.series import ALL_TIMES, Bound, Floats, WeatherSeries

A = TypeVar("A", bound=np.generic)
B = TypeVar("B", bound=np.generic)
_HOLDING = np.array(LimitState.HOLDS, dtype=np.int8)
_LOOKED_FOR_DAYS = 1
"""For how many days after it the soil as looked at counts."""
_STAGE_FOR_DAYS = 3
"""For how many days after it a stage that was not seen counts as not there: a choice of ours."""


@dataclass(frozen=True)
class RuleFindings:
    """What the rules of a farm come to."""

    checks: tuple[Checked, ...]
    """One a limit, where any field has rules on it. [F, S, T] or [K, S, T]"""
    closes: Floats
    """When the hours of the day close that each time lies in: at once outside them, infinite
    where there are none. [K, T], epoch s"""


@dataclass(frozen=True)
class _Kind:
    """One kind of field with its weather: what a single rule is judged by."""

    plan: FarmArrays
    row: int
    series: WeatherSeries
    inversion: Inversion
    wind_uncertainty_m_s: float
    no_inversion_found: bool
    shared: "_Shared"

    @property
    def entry(self) -> FieldPlan:
        return self.plan.farm.config.fields[self.plan.fields[self.row]]

    @property
    def duration_s(self) -> Floats:
        """Planned duration; fields whose rules ask for it are kinds of their own. [S, 1]"""
        own: Floats = self.plan.duration_s[self.row][:, None]
        return own

    @property
    def margin(self) -> float:
        return self.plan.farm.config.judging.margin


@dataclass(frozen=True)
class _Shared:
    """What is worked out once for all rules."""

    plan: FarmArrays
    series: WeatherSeries

    @cached_property
    def days(self) -> NDArray[np.int64]:
        return local_days(self.series, self.plan.farm.zone)

    @cached_property
    def _highs(self) -> list[DayHighs]:
        return [DayHighs.of(run, self.plan.farm.zone) for run in each_run(self.series)]

    def highs_on(self, days: NDArray[np.int64]) -> tuple[Floats, NDArray[np.bool_]]:
        """Return the high of each time's day, and whether all of it is known. [T]"""
        return _end_to_end(
            high.on(own)
            for high, own in zip(self._highs, np.split(days, self.series.runs), strict=True)
        )

    @cached_property
    def _rain(self) -> list[RainAhead]:
        return [RainAhead(run) for run in each_run(self.series)]

    def rain_until(self, until: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        """Return the rain from each time to ``until`` [..., T], and whether it is known."""
        own = np.split(until, self.series.runs, axis=-1)
        return _end_to_end(r.amount_mm(u) for r, u in zip(self._rain, own, strict=True))

    def chance_over(
        self, percent: float, until: Floats
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Return whether the chance of rain passes a bound before ``until``, and if it is known."""
        own = np.split(until, self.series.runs, axis=-1)
        return _end_to_end(r.chance_over(percent, u) for r, u in zip(self._rain, own, strict=True))

    def mixed(self, inversion: Inversion) -> NDArray[np.bool_]:
        """Return where it is day and nothing hints at an inversion. [T]"""
        return mixed_by_day(self.series, inversion)

    @cached_property
    def delta_t(self) -> Floats:
        return wet_bulb_depression(self.series)


def _end_to_end(runs: Iterable[tuple[NDArray[A], NDArray[B]]]) -> tuple[NDArray[A], NDArray[B]]:
    """Lay what was worked out of each run end to end along the time again."""
    firsts, seconds = zip(*runs, strict=True)
    return np.concatenate(firsts, axis=-1), np.concatenate(seconds, axis=-1)


def rule_limits(
    plan: FarmArrays,
    series: WeatherSeries,
    inversion: Inversion,
    *,
    wind_uncertainty_m_s: float = 0.0,
    no_inversion_found: Collection[str] = (),
    at: slice = ALL_TIMES,
) -> RuleFindings:
    """Hold every rule of every field of the plan against a series.

    ``no_inversion_found`` names the fields whose operator has looked and found neither an
    inversion nor stable air; ``at`` says for which of the times.
    """
    kinds = plan.kinds
    shape = (len(kinds.fields), len(plan.setups), len(series.times[at]))
    closes = np.full((shape[0], shape[2]), np.inf)
    worst: dict[Limit, _Worst] = {}
    shared, whole = _Shared(plan, series), series.times.shape
    for row, field in enumerate(kinds.fields):
        kind = _Kind(
            kinds,
            row,
            series,
            inversion,
            wind_uncertainty_m_s,
            field in no_inversion_found,
            shared,
        )
        for number, rule in enumerate(kinds.rules[row]):
            for checked in _judged(kind, rule):
                found = _as_it_binds(checked, rule, shared)
                if at != ALL_TIMES:
                    found = found.over(lambda a: a[..., at] if a.shape[-1:] == whole else a)
                if found.limit not in worst:
                    worst[found.limit] = _Worst.of(found.limit, shape)
                worst[found.limit].put(row, found, number)
            if isinstance(rule.rule, ClockRule) and rule.rule.force is not Force.ADVICE:
                closes[row] = np.minimum(closes[row], _closing(kind, rule.rule)[at])
    return RuleFindings(tuple(w.checked() for w in worst.values()), closes)


def highs_rules_ask_for(plan: FarmArrays, series: WeatherSeries) -> tuple[NDArray[Any], ...]:
    """Return the highs of each time's day and the next, and whether they are known. [T] each

    Nothing where no rule asks for them.
    """
    rules = (rule for rules in plan.kinds.rules for _, rule in rules)
    if not any(
        isinstance(r, DayHighRule) or (isinstance(r, ClockRule) and r.if_high_over is not None)
        for r in rules
    ):
        return ()
    shared = _Shared(plan, series)
    return (*shared.highs_on(shared.days), *shared.highs_on(shared.days + 1))


@dataclass
class _Worst:
    """The worst of several rules on one limit, so far. [K, S, T]"""

    limit: Limit
    value: Floats
    low: Floats
    high: Floats
    headroom: Floats
    stand: Stands
    known: Stands
    rule: NDArray[np.int8]

    @classmethod
    def of(cls, limit: Limit, shape: tuple[int, int, int]) -> "_Worst":
        return cls(
            limit,
            np.full(shape, np.nan),
            np.full(shape, -np.inf),
            np.full(shape, np.inf),
            np.full(shape, np.inf),
            np.full(shape, LimitState.HOLDS, dtype=np.int8),
            np.full(shape, Knowledge.EXACT, dtype=np.int8),
            np.full(shape, -1, dtype=np.int8),
        )

    def put(self, row: int, checked: Checked, number: int) -> None:
        shape = self.stand[row].shape
        stand, headroom = (
            np.broadcast_to(np.atleast_2d(a), shape) for a in (checked.stand, checked.headroom)
        )
        first = self.rule[row] < 0
        tighter = np.nan_to_num(headroom, nan=0.0) < np.nan_to_num(self.headroom[row], nan=0.0)
        worse = first | (stand < self.stand[row]) | ((stand == self.stand[row]) & tighter)
        known = checked.known
        given = np.asarray(Knowledge.EXACT) if known is None else known
        self.known[row][worse] = np.broadcast_to(np.atleast_2d(given), shape)[worse]
        for name in ("value", "low", "high", "headroom", "stand"):
            new = np.broadcast_to(np.atleast_2d(getattr(checked, name)), shape)
            getattr(self, name)[row][worse] = new[worse]
        self.rule[row][worse] = number

    def checked(self) -> Checked:
        return Checked(
            self.limit,
            self.value,
            self.low,
            self.high,
            self.headroom,
            self.stand,
            self.known if self.known.any() else None,
            self.rule,
        )


def merged(window: Checked, rules: Checked) -> Checked:
    """Return the worse of what a window and what the rules say of one limit. [K, S, T]"""
    assert rules.rule is not None  # noqa: S101  (what rules say always names them)
    shape = rules.stand.shape
    ours = {
        name: np.broadcast_to(getattr(window, name), shape).copy()
        for name in ("value", "low", "high", "headroom", "stand")
    }
    tighter = np.nan_to_num(rules.headroom, nan=0.0) < np.nan_to_num(ours["headroom"], nan=0.0)
    worse = (rules.stand < ours["stand"]) | ((rules.stand == ours["stand"]) & tighter)
    worse &= rules.rule >= 0
    for name, array in ours.items():
        array[worse] = getattr(rules, name)[worse]
    known = None
    if window.known is not None or rules.known is not None:
        exact = np.asarray(Knowledge.EXACT, dtype=np.int8)
        theirs = exact if rules.known is None else rules.known
        known = np.where(worse, theirs, exact if window.known is None else window.known)
    rule = np.where(worse, rules.rule, -1).astype(np.int8)
    return Checked(window.limit, **ours, known=known, rule=rule)


def _as_it_binds(checked: Checked, rule: RuleOf, shared: _Shared) -> Checked:
    """Advice is near at worst; a rule says nothing of other sprayers, or when it is not valid."""
    stand, headroom = checked.stand, checked.headroom
    config = shared.plan.farm.config
    concerned = [is_for(rule.rule, config.sprayers[s.sprayer].kind) for s in config.setups.values()]
    if not all(concerned):
        of_it = np.array(concerned)[:, None]
        stand = np.where(of_it, stand, LimitState.HOLDS).astype(np.int8)
        headroom = np.where(of_it, headroom, np.inf)
    if rule.rule.force is Force.ADVICE:
        stand = np.maximum(stand, LimitState.NEAR).astype(np.int8)
        headroom = np.maximum(np.nan_to_num(headroom, nan=0.0, posinf=np.inf), 0.0)
    if rule.rule.valid_from is not None or rule.rule.valid_until is not None:
        first, last = rule.rule.valid_from or date.min, rule.rule.valid_until or date.max
        valid = (shared.days >= first.toordinal()) & (shared.days <= last.toordinal())
        stand = np.where(valid, stand, LimitState.HOLDS).astype(np.int8)
        headroom = np.where(valid, headroom, np.inf)
    return replace(checked, headroom=headroom, stand=stand)


def _judged(kind: _Kind, rule: RuleOf) -> Iterator[Checked]:
    """Judge one rule for one kind of field. [S or 1, T or 1] each"""
    yield from _of_air(kind, rule)
    yield from _of_rain_and_inversion(kind, rule)
    yield from _of_calendar(kind, rule)
    yield from _equipment(kind, rule)


def _of_air(kind: _Kind, rule: RuleOf) -> Iterator[Checked]:
    series, lies = kind.series, kind.series.bounds
    match rule.rule:
        case WindRule() as wind:
            yield from _wind(kind, wind)
        case TemperatureRule(low=low, high=high):
            yield _bounded(
                kind, Limit.TEMPERATURE, series.temp_c, low, high, lies=lies.get("temp_c")
            )
        case HumidityRule(low=low, high=high):
            damp = lies.get("humidity_pct")
            yield _bounded(kind, Limit.HUMIDITY, series.humidity_pct, low, high, lies=damp)
        case DeltaTRule(low=low, high=high):
            yield _bounded(kind, Limit.DELTA_T, kind.shared.delta_t, low, high)
        case DayHighRule() as day_high:
            yield _day_high(kind, day_high)


def _of_rain_and_inversion(kind: _Kind, rule: RuleOf) -> Iterator[Checked]:
    match rule.rule:
        case RainNowRule(most=most):
            series = kind.series
            lies = series.bounds.get("rain_mm_h")
            yield _bounded(kind, Limit.RAIN_NOW, series.rain_mm_h, None, most, lies=lies)
        case RainAheadRule() as ahead:
            yield _rain_ahead(kind, ahead)
        case SoilRule() as soil:
            yield _soil(kind, soil)
        case CalmDutyRule() as duty:
            yield _calm_duty(kind, duty)
        case InversionBan() as ban:
            yield _inversion(kind, ban)


def _of_calendar(kind: _Kind, rule: RuleOf) -> Iterator[Checked]:
    match rule.rule:
        case ClockRule() as clock:
            yield from _clock(kind, clock)
        case DateRule() as dates:
            yield _dates(kind, dates)
        case StageRule() as stage:
            yield _stage(kind, stage)
        case PointsRule(required=required):
            held = kind.entry.points
            state = LimitState.UNKNOWN if held is None else _state(held >= required)
            yield _constant(Limit.PAPERS, state, float("nan") if held is None else held, required)
        case BulletinRule() as bulletin:
            yield _bulletin(kind, bulletin)


def _state(holds: bool) -> LimitState:
    return LimitState.HOLDS if holds else LimitState.BROKEN


def _states(broken: NDArray[np.bool_], unknown: NDArray[np.bool_] | None = None) -> Stands:
    stand = np.where(broken, LimitState.BROKEN, LimitState.HOLDS)
    if unknown is not None:
        stand = np.where(unknown & ~broken, LimitState.UNKNOWN, stand)
    return stand.astype(np.int8)


def _constant(limit: Limit, state: LimitState, value: float, low: float = np.nan) -> Checked:
    stand: Stands = np.array([[state]], dtype=np.int8)
    return ruled(limit, np.asarray(float(value)), stand, low=low)


def _bounded(
    kind: _Kind,
    limit: Limit,
    value: Floats,
    low: float | None,
    high: float | None,
    *,
    margin: Floats | float | None = None,
    lies: Bound | None = None,
) -> Checked:
    """Check a value; ``lies`` says between what it lies where it is not exactly known."""
    entry = CATALOGUE[limit]
    lowest, highest = (-np.inf if low is None else low), (np.inf if high is None else high)
    scale = entry.scale
    if scale is None and entry.scale_between and low is not None and high is not None:
        scale = high - low
    if not scale:
        scale = abs(high if high is not None else low or 0.0) or 1.0
    room = {
        "scale": np.asarray(scale),
        "margin": np.asarray(kind.margin if margin is None else margin),
    }
    exact = bounded(limit, value, low=np.asarray(lowest), high=np.asarray(highest), **room)
    return exact if lies is None else between(limit, exact, *lies, **room)


def _wind(kind: _Kind, rule: WindRule) -> Iterator[Checked]:
    plan = kind.plan
    series = kind.series
    obukhov, boom = kind.inversion.obukhov_m, above_canopy(plan, plan.boom_m).of_field(kind.row)
    wind = wind_for(rule, series, obukhov, boom)
    lies: dict[str, Bound] = {}
    if series.bounds.keys() & {"wind_m_s", "gust_m_s"}:
        # What is not between bounds stands as it is: a mean without a bound has both ends itself.
        ends = [wind_for(rule, series.having(**side), obukhov, boom) for side in wind_ends(series)]
        lies = {
            name: (getattr(ends[0], name), getattr(ends[1], name))
            for name in ("low_m_s", "high_m_s", "gust_m_s")
        }
    scale = rule.high or rule.low or 1.0

    def margin(doubt: Floats) -> Floats:
        least = kind.margin if rule.margin is None else rule.margin
        return np.asarray(np.fmax(least, np.hypot(doubt, kind.wind_uncertainty_m_s) / scale))

    at_low, at_high = margin(wind.low_doubt_m_s), margin(wind.high_doubt_m_s)
    low = _bounded(
        kind, Limit.WIND, wind.low_m_s, rule.low, None, margin=at_low, lies=lies.get("low_m_s")
    )
    high = _bounded(
        kind, Limit.WIND, wind.high_m_s, None, rule.high, margin=at_high, lies=lies.get("high_m_s")
    )
    if rule.low is not None:
        yield without_low(low, replace(low, stand=_HOLDING), kind.shared.mixed(kind.inversion))
    if rule.high is not None:
        yield high
        if gusts_count(rule):
            yield _bounded(
                kind,
                Limit.GUST,
                wind.gust_m_s,
                None,
                rule.high,
                margin=at_high,
                lies=lies.get("gust_m_s"),
            )


def _calm_duty(kind: _Kind, rule: CalmDutyRule) -> Checked:
    plan = kind.plan
    at_boom = WindRule(kind="wind", height="boom")
    boom = above_canopy(plan, plan.boom_m).of_field(kind.row)
    wind = wind_for(at_boom, kind.series, kind.inversion.obukhov_m, boom).low_m_s
    looked = np.full(wind.shape, kind.no_inversion_found)
    unknown = np.isnan(wind) | ((wind < rule.below) & ~looked)
    return ruled(Limit.CALM_DUTY, wind, _states(np.zeros_like(unknown), unknown), low=rule.below)


def _day_high(kind: _Kind, rule: DayHighRule) -> Checked:
    days = kind.shared.days + (rule.day == "next day")
    high, whole = kind.shared.highs_on(days)
    bound = rule.high
    if rule.whole_degrees:
        high = (np.round(high * 1.8 + 32.0) - 32.0) / 1.8
    tiny = 1e-6
    over = high > bound + tiny if rule.inclusive else high >= bound - tiny
    # Hotter than allowed already is enough to know; else all of the day must be known.
    value = np.where(whole | over, high, np.nan)
    checked = _bounded(kind, Limit.DAY_HIGH, value, None, bound + tiny)
    if not rule.inclusive:
        checked.stand[over] = LimitState.BROKEN
    if rule.acreage_share is not None:
        # What share of the ground is sprayed today nobody here counts: the operator must.
        stand = np.where(over, LimitState.NEAR, checked.stand).astype(np.int8)
        return Checked(checked.limit, value, checked.low, checked.high, checked.headroom, stand)
    return checked


def _rain_ahead(kind: _Kind, rule: RainAheadRule) -> Checked:
    times = kind.series.times.astype(np.float64)
    until = times + kind.duration_s + rule.within
    amount, known = kind.shared.rain_until(until)
    if rule.amount is None:
        value, over = np.where(known, amount, np.nan), np.zeros(amount.shape, dtype=bool)
        checked = ruled(Limit.RAIN_AHEAD, value, _states(over))
    else:
        over = amount > rule.amount
        value = np.where(known | over, amount, np.nan)
        checked = _bounded(kind, Limit.RAIN_AHEAD, value, None, rule.amount)
    stand = checked.stand
    if rule.chance is not None:
        likely, known = kind.shared.chance_over(rule.chance, until)
        stand = np.minimum(stand, _states(likely, ~known))
    elif rule.amount is None:
        stand = np.full_like(stand, LimitState.UNKNOWN)  # no amount: nothing is decided
    headroom = np.where(
        stand < checked.stand, np.where(stand == LimitState.BROKEN, -1.0, np.nan), checked.headroom
    )
    return Checked(checked.limit, checked.value, checked.low, checked.high, headroom, stand)


def _inversion(kind: _Kind, rule: InversionBan) -> Checked:
    """Evidence is no proof: a possible inversion is for the operator to rule out."""
    finding = kind.inversion.finding
    found = np.isin(finding, (Finding.LIKELY, Finding.MEASURED))
    open_to_doubt = np.isin(finding, (Finding.POSSIBLE, Finding.UNKNOWN))
    looked = kind.no_inversion_found
    if rule.effect == "deemed hours":
        near_night = ClockRule(
            kind="clock",
            opens=DayTime("sunrise", rule.after_sunrise or 0.0),
            closes=DayTime("sunset", -(rule.before_sunset or 0.0)),
        )
        closes, outside = openings(
            near_night, kind.series.times, kind.series.site, kind.plan.farm.zone
        ).headroom(kind.series.times)
        deemed = np.isnan(closes) & ~np.isnan(outside) & (not looked)
        return ruled(
            Limit.INVERSION,
            finding.astype(np.float64),
            _states(deemed | found, np.isnan(outside) & (not looked)),
        )
    doubt = np.ones_like(found) if rule.effect == "duty" else open_to_doubt
    stand = _states(found, doubt & (not looked))
    return ruled(Limit.INVERSION, finding.astype(np.float64), stand)


_WETTER = {"field capacity": {"field capacity", "saturated"}}
"""What is wetter than a state breaks a rule on it, too."""


def _soil(kind: _Kind, rule: SoilRule) -> Checked:
    entry, series = kind.entry, kind.series
    age = kind.shared.days - (entry.soil_on.toordinal() if entry.soil_on else 0)
    known = np.full(len(series), entry.soil is not None and entry.soil_on is not None)
    known &= (age >= 0) & (age <= _LOOKED_FOR_DAYS)
    in_state = known & (entry.soil in _WETTER.get(rule.not_at, {rule.not_at}))
    may_be = in_state | ~known
    rains, dry_known = np.ones(len(series), dtype=bool), np.ones(len(series), dtype=bool)
    if rule.with_rain_within is not None:
        until = series.times.astype(np.float64) + rule.with_rain_within
        amount, dry_known = kind.shared.rain_until(until)
        rains = amount > 0
    stand = _states(in_state & rains, may_be & (rains | ~dry_known))
    return ruled(Limit.SOIL, np.asarray(np.nan), stand)


def _applies(kind: _Kind, rule: ClockRule) -> NDArray[np.bool_]:
    """On which times a rule that depends on the day's high holds: where that is unknown, too."""
    if rule.if_high_over is None:
        return np.ones(len(kind.series), dtype=bool)
    high, whole = kind.shared.highs_on(kind.shared.days)
    return ~whole | (high > rule.if_high_over)


def _room(kind: _Kind, rule: ClockRule) -> tuple[Floats, Floats]:
    spans = openings(rule, kind.series.times, kind.series.site, kind.plan.farm.zone)
    return spans.headroom(kind.series.times)


def _clock(kind: _Kind, rule: ClockRule) -> Iterator[Checked]:
    times = kind.series.times.astype(np.float64)
    closes, outside = _room(kind, rule)
    applies = _applies(kind, rule)
    left = np.where(np.isnan(closes), -outside, closes - times)
    # Outside by nothing known is not inside; at the very close it is closed.
    value = np.where(applies, np.where(np.isnan(closes) & (outside == 0), np.nan, left), np.inf)
    if rule.binds != "start":
        yield _bounded(kind, Limit.CLOCK, value, 0.0, None)
    if rule.binds == "start":
        yield _bounded(kind, Limit.BEGIN, value, 0.0, None)
    if rule.binds == "end":
        ready = value[None, :] - kind.duration_s
        yield _bounded(kind, Limit.BEGIN, ready, 0.0, None)


def _closing(kind: _Kind, rule: ClockRule) -> Floats:
    """When spraying must stop that goes on at each time. [T], epoch s"""
    if rule.binds == "start":
        return np.full(len(kind.series), np.inf)
    closes, _ = _room(kind, rule)
    times = kind.series.times.astype(np.float64)
    return np.where(_applies(kind, rule), np.where(np.isnan(closes), times, closes), np.inf)


def _dates(kind: _Kind, rule: DateRule) -> Checked:
    days = kind.shared.days
    first, last = (rule.first or date.min).toordinal(), (rule.last or date.max).toordinal()
    inside = (days >= first) & (days <= last)
    return ruled(Limit.DATES, np.asarray(np.nan), _states(inside == (rule.means == "closed")))


def _stage(kind: _Kind, rule: StageRule) -> Checked:
    entry, days = kind.entry, kind.shared.days
    over, unknown = np.zeros(days.shape, dtype=bool), np.zeros(days.shape, dtype=bool)
    if rule.last is not None:
        over |= days > rule.last.toordinal()
    if rule.days_after_planting is not None:
        if entry.planted is None:
            unknown |= True
        else:
            last = entry.planted + timedelta(days=rule.days_after_planting)
            over |= days > last.toordinal()
    if rule.until_stage is not None:
        seen, looked = entry.stages.get(rule.until_stage), entry.stages_on
        if seen is not None:
            over |= days >= seen.toordinal()
        elif looked is None:
            unknown |= True
        else:
            unknown |= days > looked.toordinal() + _STAGE_FOR_DAYS
    return ruled(Limit.DATES, np.asarray(np.nan), _states(over, unknown))


def _bulletin(kind: _Kind, rule: BulletinRule) -> Checked:
    days = kind.shared.days
    if rule.looked_up_on is None:
        return _constant(Limit.PAPERS, LimitState.UNKNOWN, np.nan)
    old = days > rule.looked_up_on.toordinal() + rule.good_for_days
    return ruled(Limit.PAPERS, np.asarray(np.nan), _states(old))


def _equipment(kind: _Kind, rule: RuleOf) -> Iterator[Checked]:
    config = kind.plan.farm.config
    broken = np.array(
        [
            any(True for _ in equipment_breaks(config, setup, [rule]))
            for setup in config.setups.values()
        ]
    )
    if broken.any():
        yield ruled(Limit.EQUIPMENT, np.asarray(np.nan), _states(broken)[:, None])
