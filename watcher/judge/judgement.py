"""The one judgement: weather × farm → for every field, setup and time a status and its reasons.

"Suitable now", "suitable at ten", "would it have been suitable last June" and "is it still
suitable mid-job" are all this function over different series.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watcher.limits.air import air_limits
from watcher.limits.boom_wind import BoomWind, boom_wind
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked
from watcher.limits.drift import Drift, deposit_limit
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.hours import ends, hour_limits, next_true, sun_closes
from watcher.limits.neighbours import neighbour_limits
from watcher.limits.rule_limits import merged, rule_limits
from watcher.limits.spray import spray_limits
from watcher.limits.status import Status
from watcher.weather.inversion import Inversion, assess
from watcher.weather.series import Bound, Floats, WeatherSeries

Statuses = NDArray[np.int8]


@dataclass(frozen=True)
class Judgement:
    """Statuses of every field, setup and time, with the limits behind them. Axes [F, S, T].

    ``series`` is the farm's weather; see ``of_field``. ``instant`` is the status of the moment;
    ``status`` that of a whole job begun then. A setup a field may not use is unsuitable and never
    chosen (see ``plan.allowed``).
    """

    plan: FarmArrays
    series: WeatherSeries
    drift: Drift
    wind: BoomWind
    """Wind at the boom over each kind of field. [K, S, T]"""
    inversion: Inversion
    """What is known of an inversion at each time."""
    found: tuple[Checked, ...]
    """The limits as they were checked: once a kind [K, S, T] where size and place do not count."""
    instant: Statuses
    closes: Floats
    """When the hours of the day close that each field may be sprayed in. [F, T], epoch s"""
    begin: Statuses
    """Status by what asks of a job's beginning only. Broadcasts to [F, S, T]"""
    apart: Mapping[int, "Judgement"] = field(default_factory=dict)
    """The judgement by their own weather of the fields that other stations speak for."""

    def of_field(self, field: int) -> "Judgement":
        """Return the judgement whose ``series`` and ``drift`` are those of a field.

        Its rows of that field are this one's. What is asked about one field is asked of it.
        """
        return self.apart.get(field, self)

    @cached_property
    def boom(self) -> BoomWind:
        """Wind at the boom over each field. [F, S, T]"""
        of, wind = self.plan.of_fields, self.wind
        return BoomWind(
            of(wind.wind_m_s),
            of(wind.gust_m_s),
            of(wind.band),
            of(wind.doubt_m_s),
            _of_fields(of, wind.wind_bound),
            _of_fields(of, wind.gust_bound),
        )

    @cached_property
    def checks(self) -> tuple[Checked, ...]:
        """The limits behind the statuses, for every field. Broadcast to [F, S, T]."""
        return tuple(checked.over(self.plan.of_fields) for checked in self.found)

    @cached_property
    def status(self) -> Statuses:
        """Status of the whole planned job begun at each time. [F, S, T]

        Worst first: unsuitable or unknown at once; unknown before it ends; then marginal, when the
        limits hold for only part of it or come near.
        """
        out = self.instant.copy()
        begun = out >= Status.MARGINAL
        done = self.series.times + self.plan.duration_s[:, :, None]
        nearing = next_true(self.series, self.instant == Status.MARGINAL) < done
        out[begun & (nearing | (self.breaks_at < done))] = Status.MARGINAL
        known_to = np.minimum(
            next_true(self.series, self.instant == Status.UNKNOWN), ends(self.series)[-1]
        )
        out[begun & (known_to < done)] = Status.UNKNOWN
        return np.minimum(out, self.begin)

    @cached_property
    def breaks_at(self) -> Floats:
        """When limits first break at or after each time; infinite when never. [F, S, T], s

        To the minute where an hour of the day closes, else to the next time of the series.
        """
        breaks = next_true(self.series, self.instant == Status.UNSUITABLE)
        return np.minimum(breaks, self.closes[:, None, :])

    @cached_property
    def share_done(self) -> Floats:
        """Share of the planned job that is done before limits break. [F, S, T], 0 to 1"""
        left = (self.breaks_at - self.series.times) / self.plan.duration_s[:, :, None]
        return np.clip(left, 0.0, 1.0)

    @cached_property
    def best(self) -> Statuses:
        """Each field's status with the best setup it may use. [F, T]"""
        usable = np.where(self.plan.allowed[:, :, None], self.status, Status.UNSUITABLE)
        best: Statuses = usable.max(axis=1)
        return best


def _of_fields(of: Callable[[Floats], Floats], bound: Bound | None) -> Bound | None:
    return None if bound is None else (of(bound[0]), of(bound[1]))


def judge(
    plan: FarmArrays,
    series: WeatherSeries,
    *,
    wind_uncertainty_m_s: float = 0.0,
    expects: Mapping[str, Bools] | None = None,
    no_inversion_found: Collection[str] = (),
) -> Judgement:
    """Judge every field and setup of the plan at every time of the series.

    ``wind_uncertainty_m_s`` is what the wind's source states of itself; it widens what counts as
    near a bound. ``expects`` says where a quantity should be there because a station measures it,
    so that nothing stands in for it where it is missing; ``no_inversion_found`` names the fields
    whose operator has looked and found no inversion. Missing values (NaN) make their limits
    unknown, never good.
    """
    if not len(series):
        raise ValueError(f"the series of {series.source!r} is empty; there is nothing to judge")
    inversion = assess(series, expects=expects)
    wind = boom_wind(plan.kinds, series, inversion.obukhov_m)
    drifting = Drift(plan, series, inversion.obukhov_m)
    found = (
        *air_limits(plan.kinds, series, wind, inversion, wind_uncertainty_m_s),
        *hour_limits(plan, series, expects=expects),
        *spray_limits(plan.kinds, wind),
        *neighbour_limits(plan, series, wind),
        *deposit_limit(plan, drifting),
    )
    by_rules = rule_limits(
        plan,
        series,
        inversion,
        wind_uncertainty_m_s=wind_uncertainty_m_s,
        no_inversion_found=no_inversion_found,
    )
    found = _with_rules(plan, found, by_rules.checks)
    closes = np.minimum(by_rules.closes, sun_closes(plan.kinds, series))
    shape = (len(plan.fields), len(plan.setups), len(series))
    begin = np.full((1, 1, 1), Status.SUITABLE, dtype=np.int8)
    of_kinds = np.full((len(plan.kinds.fields), *shape[1:]), Status.SUITABLE, dtype=np.int8)
    of_each = []
    for checked in found:
        if checked.limit is Limit.BEGIN:
            begin = plan.of_fields(checked.stand)
        elif len(checked.stand) in (1, len(of_kinds)):
            np.minimum(of_kinds, checked.stand, out=of_kinds)
        else:
            of_each.append(checked.stand)
    instant = np.array(np.broadcast_to(plan.of_fields(of_kinds), shape))
    for stand in of_each:
        np.minimum(instant, stand, out=instant)
    instant[~plan.allowed] = Status.UNSUITABLE
    return Judgement(
        plan, series, drifting, wind, inversion, found, instant, closes[plan.kind], begin
    )


def _with_rules(
    plan: FarmArrays, window: Sequence[Checked], rules: Sequence[Checked]
) -> tuple[Checked, ...]:
    """Return one check a limit: the worse of the window's and the rules'."""
    by_limit = {checked.limit: checked for checked in rules}
    of = plan.of_fields
    both = []
    for checked in window:
        ruling = by_limit.pop(checked.limit, None)
        if ruling is not None and checked.stand.shape[0] > ruling.stand.shape[0]:
            ruling = ruling.over(of)
        both.append(checked if ruling is None else merged(checked, ruling))
    return (*both, *by_limit.values())
