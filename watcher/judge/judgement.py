"""The one judgement: weather × farm → for every field, setup and time a status and its reasons.

"Suitable now", "suitable at ten", "would it have been suitable last June" and "is it still
suitable mid-job" are all this function over different series.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from watcher.limits.air import air_limits
from watcher.limits.boom_wind import BoomWind, boom_wind
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, mixed
from watcher.limits.drift import Drift, deposit_limit
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.hours import ends, hour_limits, next_true, sun_closes
from watcher.limits.neighbours import neighbour_limits
from watcher.limits.rule_limits import merged, rule_limits
from watcher.limits.spray import spray_limits
from watcher.limits.status import Status
from watcher.weather.inversion import Inversion, assess
from watcher.weather.series import ALL_TIMES, Bound, Floats, WeatherSeries

N = TypeVar("N", bound=np.generic)
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
    found: Sequence[Checked]
    """The limits as they were checked: once a kind [K, S, T] where size and place do not count."""
    instant: Statuses
    closes: Floats
    """When the hours of the day close that each field may be sprayed in. [F, T], epoch s"""
    begin: Statuses
    """Status by what asks of a job's beginning only. Broadcasts to [F, S, T]"""
    apart: Mapping[int, "Judgement"] = field(default_factory=dict)
    """The judgement by their own weather of the fields that other stations speak for."""
    later: "Later | None" = None
    """What comes after its times, of a part of a series; None where nothing is known of that."""
    fresh: "Fresh | None" = None
    """Which of its times were judged anew, and by what; None where all were judged at once."""

    def of_field(self, field: int) -> "Judgement":
        """Return the judgement whose ``series`` and ``drift`` are those of a field.

        Its rows of that field are this one's. What is asked about one field is asked of it.
        """
        return self.apart.get(field, self)

    def around(self, time: int) -> tuple["Judgement", int]:
        """Return a judgement that has a time, by its index, with as few others as there is."""
        if self.fresh is not None and self.fresh.at.start <= time < self.fresh.at.stop:
            return self.fresh.moment, time - self.fresh.at.start
        return self, time

    def from_time(self, what: Callable[["Judgement"], NDArray[N]], times: slice) -> NDArray[N]:
        """Return what a judgement has [..., T] of some times that go on from one.

        Of the hours ahead that were judged before it is what was worked out of them then.
        """
        fresh = self.fresh
        if fresh is None or not fresh.at.start <= times.start < fresh.at.stop <= times.stop:
            return what(self)[..., times]
        first = what(fresh.moment)[..., times.start - fresh.at.start :]
        return np.concatenate([first, what(fresh.before)[..., fresh.at.stop : times.stop]], axis=-1)

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
        nearing = self._next(Status.MARGINAL) < done
        out[begun & (nearing | (self.breaks_at < done))] = Status.MARGINAL
        end = ends(self.series)[-1] if self.later is None else self.later.ends
        known_to = np.minimum(self._next(Status.UNKNOWN), end)
        out[begun & (known_to < done)] = Status.UNKNOWN
        return np.minimum(out, self.begin)

    def _next(self, status: Status) -> Floats:
        """When it is next of a status at or after each time; infinite when never. [F, S, T], s"""
        found = next_true(self.series, self.instant == status)
        return found if self.later is None else np.minimum(found, self.later.next[status])

    def after(self, time: int) -> "Later":
        """Return what comes from a time on, by its index."""
        soonest = (s for s in Status if s is not Status.SUITABLE)
        return Later(
            {status: self._next(status)[:, :, time : time + 1] for status in soonest},
            float(ends(self.series)[-1]),
        )

    @cached_property
    def breaks_at(self) -> Floats:
        """When limits first break at or after each time; infinite when never. [F, S, T], s

        To the minute where an hour of the day closes, else to the next time of the series.
        """
        return np.minimum(self._next(Status.UNSUITABLE), self.closes[:, None, :])

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


@dataclass(frozen=True)
class Later:
    """What comes after the part of a series that is judged by itself."""

    next: Mapping[Status, Floats]
    """When each field and setup is first of a status then; infinite when never. [F, S, 1], s"""
    ends: float
    """How far the series goes. [epoch s]"""


@dataclass(frozen=True)
class Fresh:
    """The times of a judgement that were judged anew, as the present is with every reading.

    The others stand as they were judged ``before``.
    """

    at: slice
    moment: Judgement
    before: Judgement

    def put(self, before: NDArray[N], moment: NDArray[N]) -> NDArray[N]:
        """Return an array [..., T] as it was, with the anew judged times in place of theirs."""
        whole = np.broadcast_shapes(before.shape[:-1], moment.shape[:-1])
        out = np.broadcast_to(before, (*whole, len(self.before.series))).copy()
        out[..., self.at] = moment
        return out

    def either(self, before: NDArray[N], moment: NDArray[N]) -> NDArray[N]:
        """Put one array in the other, but where both are the same at all times."""
        same = before.shape[-1:] <= (1,) and moment.shape[-1:] <= (1,)
        return before if same and np.array_equal(before, moment) else self.put(before, moment)


class _PutTogether(Sequence[Checked]):
    """The limits of a judgement with times judged anew, put together when somebody reads them."""

    def __init__(self, fresh: Fresh) -> None:
        self._fresh = fresh

    @cached_property
    def _checks(self) -> tuple[Checked, ...]:
        pairs = zip(self._fresh.before.found, self._fresh.moment.found, strict=True)
        return tuple(mixed(pair, self._fresh.either) for pair in pairs)

    def __len__(self) -> int:
        return len(self._fresh.moment.found)

    @overload
    def __getitem__(self, index: int) -> Checked: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Checked]: ...
    def __getitem__(self, index: int | slice) -> Checked | Sequence[Checked]:
        return self._checks[index]


def with_moment(
    before: Judgement,
    moment: Judgement,
    at: slice,
    series: WeatherSeries,
    inversion: Inversion,
) -> Judgement:
    """Return a judgement of a series whose times ``at`` were judged anew, the others ``before``.

    The others are not judged by anything that has changed since: see ``judge.present``.
    """
    fresh = Fresh(at, moment, before)
    return replace(
        before,
        series=series,
        drift=Drift(before.plan, series, inversion.obukhov_m),
        wind=_wind_of(fresh),
        inversion=inversion,
        found=_PutTogether(fresh),
        instant=fresh.put(before.instant, moment.instant),
        closes=fresh.put(before.closes, moment.closes),
        begin=fresh.either(before.begin, moment.begin),
        fresh=fresh,
    )


def _wind_of(fresh: Fresh) -> BoomWind:
    before, moment = fresh.before.wind, fresh.moment.wind

    def bound(old: Bound | None, new: Bound | None) -> Bound | None:
        if old is None and new is None:
            return None
        none = np.full((1, 1, 1), np.nan)
        pairs = zip(old or (none, none), new or (none, none), strict=True)
        low, high = (fresh.put(*pair) for pair in pairs)
        return low, high

    return BoomWind(
        fresh.put(before.wind_m_s, moment.wind_m_s),
        fresh.put(before.gust_m_s, moment.gust_m_s),
        fresh.put(before.band, moment.band),
        fresh.put(before.doubt_m_s, moment.doubt_m_s),
        bound(before.wind_bound, moment.wind_bound),
        bound(before.gust_bound, moment.gust_bound),
    )


def _of_fields(of: Callable[[Floats], Floats], bound: Bound | None) -> Bound | None:
    return None if bound is None else (of(bound[0]), of(bound[1]))


def judge(
    plan: FarmArrays,
    series: WeatherSeries,
    *,
    wind_uncertainty_m_s: float = 0.0,
    expects: Mapping[str, Bools] | None = None,
    no_inversion_found: Collection[str] = (),
    inversion: Inversion | None = None,
    at: slice = ALL_TIMES,
) -> Judgement:
    """Judge every field and setup of the plan at every time of the series.

    ``wind_uncertainty_m_s`` is what the wind's source states of itself; it widens what counts as
    near a bound. ``expects`` says where a quantity should be there because a station measures it,
    so that nothing stands in for it where it is missing; ``no_inversion_found`` names the fields
    whose operator has looked and found no inversion. Missing values (NaN) make their limits
    unknown, never good. ``inversion`` is what is known of one, where that was worked out already.

    ``at`` says which times are judged: what looks along the time sees all of them, and what comes
    of it is of these alone.
    """
    if not len(series):
        raise ValueError(f"the series of {series.source!r} is empty; there is nothing to judge")
    inversion = assess(series, expects=expects) if inversion is None else inversion
    here = series.part(at)
    inverted = inversion if at == ALL_TIMES else inversion.part(at)
    wind = boom_wind(plan.kinds, here, inverted.obukhov_m)
    drifting = Drift(plan, here, inverted.obukhov_m)
    found = (
        *air_limits(plan.kinds, here, wind, inverted, wind_uncertainty_m_s),
        *hour_limits(plan, series, expects=expects, at=at),
        *spray_limits(plan.kinds, wind),
        *neighbour_limits(plan, here, wind),
        *deposit_limit(plan, drifting),
    )
    by_rules = rule_limits(
        plan,
        series,
        inversion,
        wind_uncertainty_m_s=wind_uncertainty_m_s,
        no_inversion_found=no_inversion_found,
        at=at,
    )
    found = _with_rules(plan, found, by_rules.checks)
    closes = np.minimum(by_rules.closes, sun_closes(plan.kinds, here))
    shape = (len(plan.fields), len(plan.setups), len(here))
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
    return Judgement(plan, here, drifting, wind, inverted, found, instant, closes[plan.kind], begin)


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
