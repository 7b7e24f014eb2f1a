"""Proof that every field can open at all: some wind, direction, hour and season with some setup.

The one judgement over made-up skies that are as good as they can be. A field that none of them
opens has limits that shut each other out; the two that come closest to leaving room are named.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import product

import numpy as np
from numpy.typing import NDArray

from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
from watcher.farm.rules.calendar import DateRule, StageRule
from watcher.judge.judgement import Judgement, judge
from watcher.judge.reasons import Reason, reasons
from watcher.limits.bound_arrays import BoundArrays
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.weather.series import Site, WeatherSeries

_WINDS_M_S = 0.6 * np.arange(1, 15)
"""At the height most forecasts are for. [m/s]"""
_DIRECTIONS_DEG = 22.5 * np.arange(16)
_AIRS = tuple(product((20.0, 14.0, 26.0, 9.0, 31.0, 4.0), (60.0, 45.0, 75.0, 30.0)))
"""Temperature and humidity of skies, the likeliest to please first. [degC], [%]"""
_SEASONS = (6, 12, 9)
"""Months of the longest and the shortest day, and of one when the sun rises and sets everywhere."""
_STEADY_DEG = 8.0
_OVERCAST_PCT = 75.0
_DRY_H = 15 * 24
"""How long it is dry before and after: longer than any rule may ask."""
_OF_THE_DAY = {Limit.SOIL, Limit.DATES, Limit.PAPERS, Limit.CALM_DUTY, Limit.INVERSION}
"""Found out on the day, by people: a fact that is missing now shuts nothing for ever."""
_OF_ANY_SKY = {
    Limit.WIND,
    Limit.GUST,
    Limit.NEIGHBOUR,
    Limit.NO_SPRAY,
    Limit.DEPOSIT,
    Limit.DROPLETS,
    Limit.DROPLETS_IN_WIND,
    Limit.CONTROL,
    Limit.EQUIPMENT,
    Limit.PAPERS,
}
"""Every sky tries all there is of these: where one of them is always broken, no other sky helps."""


@dataclass(frozen=True)
class ShutField:
    """A field that no sky opens, with the setup that comes closest and what shuts it."""

    field: str
    setup: str
    by: tuple[Reason, ...]
    """The limits that are broken where fewest are: one, or two that shut each other out."""


_FIELDS_AT_A_TIME = 40
"""Every field is laid over thousands of winds: some hundred MB a block."""


def shut_fields(plan: FarmArrays, today: date) -> tuple[ShutField, ...]:
    """Return the fields that can never open, in the farm's order. ``today`` is a local day."""
    starts = range(0, len(plan.fields), _FIELDS_AT_A_TIME)
    blocks = [plan.fields[start : start + _FIELDS_AT_A_TIME] for start in starts]
    return tuple(shut for block in blocks for shut in _shut_in(_only(plan, block), today))


def _shut_in(plan: FarmArrays, today: date) -> tuple[ShutField, ...]:
    shut: dict[str, ShutField] = {}
    left = plan
    for temp_c, humidity_pct in _airs(plan):
        for day in _days(plan, today):
            series, tried = _sky(plan, day, temp_c, humidity_pct)
            judgement = judge(left, series, no_inversion_found=set(left.fields))
            bad, for_good = (
                _broken(judgement, limits)[:, :, tried] for limits in (None, _OF_ANY_SKY)
            )
            for cases in (bad, for_good):
                cases[~left.allowed] = _NEVER
            undecided = []
            for field, name in enumerate(left.fields):
                if not bad[field].min():
                    shut.pop(name, None)
                    continue
                if name not in shut or len(shut[name].by) > bad[field].min():
                    shut[name] = _shut(judgement, field, bad[field], tried)
                if not for_good[field].min():
                    undecided.append(name)
            if not undecided:
                return _in_order(plan, shut)
            left = _only(left, undecided)
    return _in_order(plan, shut)


_NEVER = np.iinfo(np.int16).max


def _in_order(plan: FarmArrays, shut: Mapping[str, ShutField]) -> tuple[ShutField, ...]:
    return tuple(shut[name] for name in plan.fields if name in shut)


def _only(plan: FarmArrays, fields: Collection[str]) -> FarmArrays:
    """Lay out the same farm with some of its fields only."""
    farm = plan.farm
    entries = {name: entry for name, entry in farm.config.fields.items() if name in fields}
    shapes = {name: shape for name, shape in farm.ground.fields_deg.items() if name in fields}
    config = farm.config.model_copy(update={"fields": entries})
    return FarmArrays.of(Farm(config, Ground(shapes, farm.ground.neighbours_deg)))


def _broken(judgement: Judgement, limits: Collection[Limit] | None) -> NDArray[np.int16]:
    """How many limits do not hold; a fact of the day that is missing does hold. [F, S, T]"""
    count = np.zeros(judgement.instant.shape, dtype=np.int16)
    for checked in judgement.found:
        if limits is None or checked.limit in limits:
            worst = LimitState.BROKEN if checked.limit in _OF_THE_DAY else LimitState.UNKNOWN
            count += judgement.plan.of_fields(checked.stand) <= worst
    return count


def _shut(
    judgement: Judgement, field: int, bad: NDArray[np.int16], tried: Sequence[int]
) -> ShutField:
    """Name the limits of the case where fewest are broken; of several the most usual ones."""
    setups, times = np.nonzero(bad == bad.min())
    usual: dict[tuple[int, tuple[Limit, ...]], tuple[int, ShutField]] = {}
    step = max(1, setups.size // 60)  # enough to see what is usual
    for setup, at in list(zip(setups.tolist(), times.tolist(), strict=True))[::step]:
        found = tuple(
            reason
            for reason in reasons(judgement, field, setup, int(tried[at]))
            if reason.stand is LimitState.BROKEN
            or (reason.stand is LimitState.UNKNOWN and reason.limit not in _OF_THE_DAY)
        )
        key = setup, tuple(reason.limit for reason in found)
        shut = ShutField(judgement.plan.fields[field], judgement.plan.setups[setup], found)
        usual[key] = (usual.get(key, (0, shut))[0] + 1, shut)
    return max(usual.values(), key=lambda counted: (_room(counted[1]), counted[0]))[1]


def _room(shut: ShutField) -> float:
    """How near the limit that is furthest from holding is to it."""
    return min(float(np.nan_to_num(reason.headroom, nan=-1.0)) for reason in shut.by)


def _airs(plan: FarmArrays) -> list[tuple[float, float]]:
    """The usual airs first, then the middle of what each field's own bounds leave."""
    airs = list(_AIRS)
    middles = []
    for limit, usual in ((Limit.TEMPERATURE, 20.0), (Limit.HUMIDITY, 60.0)):
        bounds = plan.bounds.get(limit)
        rows = range(len(plan.fields))
        middles.append([usual if bounds is None else _middle(bounds, row, usual) for row in rows])
    return list(dict.fromkeys([*airs, *zip(*middles, strict=True)]))


def _middle(bounds: BoundArrays, row: int, usual: float) -> float:
    low, high = float(bounds.low[row]), float(bounds.high[row])
    if np.isfinite(low) and np.isfinite(high):
        return (low + high) / 2.0
    return float(np.clip(usual, low + 1.0, high - 1.0))


def _days(plan: FarmArrays, today: date) -> list[date]:
    """Days of every season, and those that rules name as their first and last."""
    days = [date(today.year, month, 21) for month in _SEASONS]
    for _, rule in (rule_of for rules in plan.rules for rule_of in rules):
        match rule:
            case DateRule():
                days += [d for d in (rule.first, rule.last) if d is not None]
            case StageRule(last=last) if last is not None:
                days.append(last)
    days += [
        f.planted + timedelta(days=1)
        for f in plan.farm.config.fields.values()
        if f.planted is not None
    ]
    return list(dict.fromkeys(days))


def _sky(
    plan: FarmArrays, day: date, temp_c: float, humidity_pct: float
) -> tuple[WeatherSeries, Sequence[int]]:
    """Every wind from every side in every hour of a day, a second each; dry before and after.

    Returns the series and the places in it of what is tried.
    """
    midnight = int(datetime.combine(day, time(0), plan.farm.zone).timestamp())
    pairs = [(wind, from_) for wind in _WINDS_M_S for from_ in _DIRECTIONS_DEG]
    before = midnight + 3600 * np.arange(-_DRY_H, 0)
    hours = (midnight + 3600 * np.arange(24))[:, None] + np.arange(len(pairs))
    after = midnight + 86_400 + 3600 * np.arange(_DRY_H)
    times = np.concatenate([before, hours.ravel(), after])
    wind = np.full(times.size, 3.0)
    from_deg = np.zeros(times.size)
    tried = slice(before.size, before.size + hours.size)
    wind[tried], from_deg[tried] = np.tile(np.array(pairs).T, 24)
    latitude, longitude = plan.farm.ground.middle
    values = {
        "wind_m_s": wind,
        "gust_m_s": wind * 1.25,
        "wind_from_deg": from_deg,
        "wind_spread_deg": np.full(times.size, _STEADY_DEG),
        "temp_c": np.full(times.size, temp_c),
        "humidity_pct": np.full(times.size, humidity_pct),
        "rain_mm_h": np.zeros(times.size),
        "rain_chance_pct": np.zeros(times.size),
        "cloud_pct": np.full(times.size, _OVERCAST_PCT),
        "soil_temp_10cm_c": np.full(times.size, temp_c),
        "leaf_wet_pct": np.zeros(times.size),
    }
    site = Site(latitude, longitude)
    return WeatherSeries.of(times, site, "made up", values), range(tried.start, tried.stop)
