"""The one judgement: weather × farm → for every field, setup and time a status and its reasons.

"Suitable now", "suitable at ten", "would it have been suitable last June" and "is it still
suitable mid-job" are all this function over different series.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watcher.judge.air_limits import BoomWind, air_limits, boom_wind
from watcher.judge.exposure import Drift, deposit_limit
from watcher.judge.hour_limits import ends, hour_limits, next_true
from watcher.judge.limits import Checked
from watcher.judge.neighbour_limits import neighbour_limits
from watcher.judge.plan import Bools, Plan
from watcher.judge.spray_limits import spray_limits
from watcher.judge.status import Status
from watcher.weather.inversion import Inversion, assess
from watcher.weather.series import Floats, WeatherSeries

Statuses = NDArray[np.int8]


@dataclass(frozen=True)
class Judgement:
    """Statuses of every field, setup and time, with the limits behind them. Axes [F, S, T].

    ``series`` is the farm's weather; see ``of_field``. ``instant`` is the status of the moment;
    ``status`` that of a whole job begun then. A setup a field may not use is unsuitable and never
    chosen (see ``plan.allowed``).
    """

    plan: Plan
    series: WeatherSeries
    drift: Drift
    wind: BoomWind
    """Wind at the boom over each kind of field. [K, S, T]"""
    inversion: Inversion
    """What is known of an inversion at each time."""
    found: tuple[Checked, ...]
    """The limits as they were checked: once a kind [K, S, T] where size and place do not count."""
    instant: Statuses
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
        return BoomWind(of(wind.wind_m_s), of(wind.gust_m_s), of(wind.band))

    @cached_property
    def checks(self) -> tuple[Checked, ...]:
        """The limits behind the statuses, for every field. Broadcast to [F, S, T]."""
        of = self.plan.of_fields
        return tuple(
            Checked(c.limit, of(c.value), of(c.low), of(c.high), of(c.headroom), of(c.stand))
            for c in self.found
        )

    @cached_property
    def status(self) -> Statuses:
        """Status of the whole planned job begun at each time. [F, S, T]

        Worst first: unsuitable or unknown at once; unknown before it ends; then marginal, when the
        limits hold for only part of it or come near.
        """
        out = self.instant.copy()
        begun = out >= Status.MARGINAL
        done = self.series.times + self.plan.duration_s[:, :, None]
        nearing = next_true(self._times, self.instant == Status.MARGINAL) < done
        out[begun & (nearing | (self.breaks_at < done))] = Status.MARGINAL
        known_to = np.minimum(
            next_true(self._times, self.instant == Status.UNKNOWN), ends(self.series)[-1]
        )
        out[begun & (known_to < done)] = Status.UNKNOWN
        return out

    @cached_property
    def breaks_at(self) -> Floats:
        """When limits first break at or after each time; infinite when never. [F, S, T], s"""
        return next_true(self._times, self.instant == Status.UNSUITABLE)

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

    @property
    def _times(self) -> Floats:
        return self.series.times.astype(np.float64)


def judge(
    plan: Plan,
    series: WeatherSeries,
    *,
    wind_uncertainty_m_s: float = 0.0,
    expects: Mapping[str, Bools] | None = None,
) -> Judgement:
    """Judge every field and setup of the plan at every time of the series.

    ``wind_uncertainty_m_s`` is what the wind's source states of itself; it widens what counts as
    near a bound. ``expects`` says where what could tell of an inversion should be there, as
    ``weather.inversion.assess`` has it. Missing values (NaN) make their limits unknown, never good.
    """
    if not len(series):
        raise ValueError(f"the series of {series.source!r} is empty; there is nothing to judge")
    wind = boom_wind(plan.kinds, series)
    drifting = Drift(plan, series)
    inversion = assess(series, expects=expects)
    found = (
        *air_limits(plan.kinds, series, wind, inversion, wind_uncertainty_m_s),
        *hour_limits(plan, series),
        *spray_limits(plan.kinds, wind),
        *neighbour_limits(plan, series, wind),
        *deposit_limit(plan, drifting),
    )
    shape = (len(plan.fields), len(plan.setups), len(series))
    instant = np.full(shape, Status.SUITABLE, dtype=np.int8)
    for checked in found:
        np.minimum(instant, plan.of_fields(checked.stand), out=instant)
    instant[~plan.allowed] = Status.UNSUITABLE
    return Judgement(plan, series, drifting, wind, inversion, found, instant)
