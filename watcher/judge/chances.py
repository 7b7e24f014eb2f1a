"""How likely a job holds from its beginning to its end: the one judgement over many scenarios.

*Held* means what the alert in the middle of a job means by it: at no time until the end of the job
is a limit broken, by ten-minute means and their highest gusts, and it stays dry for as long as the
product needs after the end. What is not known to the end has not held; where that is so of more
than a tenth of the scenarios the chance is unknown.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from watcher.judge.changed_rig import ChangedRig, judge_rig
from watcher.judge.farm_judgement import Look, PlainLook, judge_look
from watcher.judge.judgement import Judgement
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.hours import ends, next_true
from watcher.limits.status import LimitState, Status
from watcher.weather.air import humidity
from watcher.weather.series import Floats, Seconds, WeatherSeries

_SCENARIOS_AT_A_TIME = 34
_MOST_UNKNOWN = 0.1
_NEAR_S = 3600
"""A start further from now tells nothing of a job begun now."""
_OLD_S = 2 * 3600
"""They are worked out once an hour; older ones know nothing of what was measured since."""
STARTS_AHEAD_S = 72 * 3600
"""Starts of three days have a chance, as far as they and their jobs are foretold."""
HELD, BROKEN, UNKNOWN = 0, 1, 2
LIMITS = tuple(Limit)


@dataclass(frozen=True)
class Chances:
    """The chance that a job begun at each start holds to its end.

    Axes F fields, S setups, B starts.

    ``held`` is NaN where unknown, ``half`` the chance that it holds for the first half of the job,
    with no rain too soon after the whole; ``ends_it`` [F, S, B] the place in ``LIMITS`` of
    what ends it most often, -1 where nothing does; ``past_forecasts`` [B] how many past forecasts
    here are behind, of as far ahead.
    """

    fields: tuple[str, ...]
    setups: tuple[str, ...]
    starts: Seconds
    duration_s: Floats
    held: Floats
    half: Floats
    ends_it: NDArray[np.int8]
    past_forecasts: NDArray[np.int64]

    def at(self, start: int) -> int | None:
        """Return the index of a start; None where it has no chance."""
        b = int(np.searchsorted(self.starts, start))
        return b if b < self.starts.size and self.starts[b] == start else None

    def one(self, field: str, setup: int, start: int) -> "FieldChance":
        """Return one chance, by the field's name and the indices of setup and start."""
        f = self.fields.index(field)
        case = f, setup, start
        begins = int(self.starts[start])
        return FieldChance(
            _known(self.held[case]),
            _known(self.half[case]),
            begins,
            int(begins + self.duration_s[f, setup]),
            LIMITS[self.ends_it[case]] if self.ends_it[case] >= 0 else None,
            int(self.past_forecasts[start]),
        )


@dataclass(frozen=True)
class FieldChance:
    """The chance that a job begun at a time holds to its end. Times are epoch seconds."""

    chance: float | None
    """None: unknown."""
    first_half: float | None
    """The chance that it holds for the first half; None: unknown."""
    starts_at: int
    ends_at: int
    ended_by: Limit | None
    """What ends it most often; None where nothing does."""
    past_forecasts: int


@dataclass(frozen=True)
class FarmChances:
    """The chances of every field, setup and start, as they were worked out at a moment."""

    at: int
    parts: tuple[Chances, ...] = ()
    of_rigs: tuple[tuple[ChangedRig, Chances], ...] = ()
    """Those of fields with an open job whose rig was changed in the field."""
    rigs: tuple[ChangedRig, ...] = ()
    """The changed rigs as they are now; of one that no chances were worked out for none are
    known."""

    def with_rigs(self, rigs: Sequence[ChangedRig]) -> "FarmChances":
        """Return the chances as they count with these rigs in the field."""
        return replace(self, rigs=tuple(rigs))

    def of(self, field: str, setup: str) -> tuple[FieldChance, ...]:
        """Return the chances by start, now first; empty where nothing is foretold."""
        part = self._of_field(field)
        if part is None:
            return ()
        s = part.setups.index(setup)
        return tuple(part.one(field, s, b) for b in range(part.starts.size))

    def _of_field(self, field: str) -> Chances | None:
        rig = next((rig for rig in self.rigs if rig.field == field), None)
        if rig is not None:
            return next((part for of, part in self.of_rigs if of == rig), None)
        return next((part for part in self.parts if field in part.fields), None)

    def old(self, now: int) -> bool:
        """Return whether they were worked out too long ago to tell anything of what is ahead."""
        return now - self.at > _OLD_S

    def at_hour(self, field: str, setup: str, start: int, status: Status) -> FieldChance | None:
        """Return the chance of a job begun at a full hour ahead; None where none can be said.

        Never of what is unsuitable or unknown then: ``status`` is what the field is then.
        """
        if status < Status.MARGINAL:
            return None
        part = self._of_field(field)
        b = None if part is None else part.at(start)
        if part is None or b is None:
            return None
        return part.one(field, part.setups.index(setup), b)

    def nearest(self, field: str, setup: str, at: int) -> FieldChance:
        """Return the chance of the start nearest to a time, of a field that has chances."""
        return min(self.of(field, setup), key=lambda c: abs(c.starts_at - at))

    def likeliest(self, field: str, start: int, now: int) -> FieldChance | None:
        """Return the chance of a start ahead with the setup that is likeliest to hold then.

        None where none can be said.
        """
        part = self._of_field(field)
        b = None if part is None or self.old(now) else part.at(start)
        if part is None or b is None:
            return None
        held = np.nan_to_num(part.held[part.fields.index(field), :, b], nan=-1.0)
        return part.one(field, int(held.argmax()), b)

    def now(self, field: str, setup: str, now: int, status: Status) -> FieldChance | None:
        """Return the chance of a job begun now; None where none can be said.

        It is that of the start nearest to now. A field that was not open when the chances were
        worked out and is now has none of its own yet: it has that of the next start.
        """
        if status < Status.MARGINAL or self.old(now):
            return None
        starts = self.of(field, setup)
        if starts and starts[0].starts_at < now and not starts[0].chance:
            starts = starts[1:]
        nearest = min(starts, key=lambda c: abs(c.starts_at - now), default=None)
        if nearest is None or abs(nearest.starts_at - now) > _NEAR_S:
            return None
        return nearest


def _known(chance: float) -> float | None:
    return None if np.isnan(chance) else float(chance)


def chances(
    plan: FarmArrays,
    look: Look,
    now_index: int,
    *,
    times: Seconds,
    values: Mapping[str, Floats],
    starts: Seconds,
    past_forecasts: NDArray[np.int64],
    rig: ChangedRig | None = None,
) -> Chances:
    """Judge scenarios of the time after now and count in how many each job holds.

    ``look`` is the weather up to now and what is foretold; ``values`` [N, T] by the names of
    ``WeatherSeries`` what the scenarios have instead at ``times`` [T], all after now. The first of
    ``starts`` [B] is now; a job begun now is not held by a chance where it is unsuitable or
    unknown. ``past_forecasts`` [B] is how many past forecasts here stand behind each.
    With a ``rig`` the chances are of its field alone.
    """
    judged = _judged(plan, look, rig, now_index)
    plan = judged.plan
    count = len(next(iter(values.values())))
    shape = (len(plan.fields), len(plan.setups), starts.size)
    counts, halves = np.zeros((3, *shape)), np.zeros((3, *shape))
    ended = np.zeros((len(LIMITS), *shape))
    for first in range(0, count, _SCENARIOS_AT_A_TIME):
        part = slice(first, min(first + _SCENARIOS_AT_A_TIME, count))
        series = _laid_out(look, now_index, times, {n: v[part] for n, v in values.items()})
        course = _Course.of(plan, look, series, starts, rig)
        outcome, by = course.outcome(), course.ended()
        half = course.outcome(0.5)
        for kind in range(3):
            counts[kind] += (outcome == kind).sum(axis=2)
            halves[kind] += (half == kind).sum(axis=2)
        for limit, broken in by.items():
            ended[LIMITS.index(limit)] += broken.sum(axis=2)
    held, half_held = (_share(counted, plan, judged, now_index) for counted in (counts, halves))
    ends_it = np.where(ended.any(axis=0), ended.argmax(axis=0), -1).astype(np.int8)
    return Chances(
        plan.fields, plan.setups, starts, plan.duration_s, held, half_held, ends_it, past_forecasts
    )


def _share(counts: Floats, plan: FarmArrays, judged: Judgement, now_index: int) -> Floats:
    """Return the chance of each job from how many scenarios held, broke or are unknown."""
    count = counts.sum(axis=0)
    held = (counts[HELD] + 0.5) / (count + 1.0)
    held[counts[UNKNOWN] > _MOST_UNKNOWN * count] = np.nan
    _as_now(held, judged, now_index)
    held[~plan.allowed] = 0.0
    return np.asarray(held)


def _as_now(held: Floats, judged: Judgement, now_index: int) -> None:
    """A chance never turns an unsuitable or unknown now into a suitable one."""
    held[..., 0][judged.instant[..., now_index] == Status.UNSUITABLE] = 0.0
    held[..., 0][judged.instant[..., now_index] == Status.UNKNOWN] = np.nan


def _laid_out(
    look: Look, now_index: int, times: Seconds, values: Mapping[str, Floats]
) -> WeatherSeries:
    """Return the past, now and each scenario, laid end to end."""
    known = look.series.at(slice(0, now_index + 1))
    runs = len(next(iter(values.values())))
    stands = np.searchsorted(look.series.times, times, side="right") - 1
    arrays, bounds = {}, {}
    for name, foretold in look.series.quantities().items():
        ahead = values.get(name, np.broadcast_to(foretold[stands], (runs, times.size)))
        before = np.broadcast_to(getattr(known, name), (runs, len(known)))
        arrays[name] = np.concatenate([before, ahead], axis=1)
    for name, sides in look.series.bounds.items():
        # What a scenario says it says exactly; all else stays as well known as it is.
        least, most = (_side(side, now_index, stands, exact=name in values) for side in sides)
        bounds[name] = np.tile(least, runs), np.tile(most, runs)
    if "dew_point_c" in values:
        after = slice(len(known), None)
        arrays["humidity_pct"][:, after] = humidity(
            temp_c=arrays["temp_c"][:, after], dew_point_c=arrays["dew_point_c"][:, after]
        )
    # Limits on the direction go by whole bearings, and of those there are few.
    arrays["wind_from_deg"][:, len(known) :] = np.round(arrays["wind_from_deg"][:, len(known) :])
    return WeatherSeries(
        np.tile(np.concatenate([known.times, times]), runs),
        look.series.site,
        "scenarios",
        **{name: array.ravel() for name, array in arrays.items()},
        bounds=bounds,
        runs=runs,
    )


def _side(side: Floats, now_index: int, stands: NDArray[np.intp], *, exact: bool) -> Floats:
    """Return one side of a bound up to now, and in the times after it, where it has one. [T]"""
    ahead = np.full(stands.shape, np.nan) if exact else side[stands]
    return np.concatenate([side[: now_index + 1], ahead])


def outcomes(
    plan: FarmArrays, look: Look, series: WeatherSeries, starts: Seconds
) -> tuple[NDArray[np.int8], Mapping[Limit, NDArray[np.bool_]]]:
    """Return what becomes of every job begun at the starts: ``HELD``, ``BROKEN`` or ``UNKNOWN``.

    [F, S, N, B] with N the runs of the series; and in which of them each limit is among the first
    to break. ``look`` says what stations are expected to tell, up to the first start.
    """
    course = _Course.of(plan, look, series, starts)
    return course.outcome(), course.ended()


def _judged(plan: FarmArrays, look: Look, rig: ChangedRig | None, now_index: int) -> Judgement:
    if rig is None:
        return judge_look(plan, look)
    return judge_rig(plan, rig, look, now_index)


@dataclass(frozen=True)
class _Course:
    """When limits break or are unknown after every start in every run. [F, S, N, B], epoch s"""

    series: WeatherSeries
    starts: Seconds
    duration_s: Floats
    """[F, S]"""
    stands: Mapping[Limit, NDArray[np.int8]]
    """Of the limits that count while spraying. Broadcast to [F, S, T]"""
    broken_at: Floats
    known_to: Floats
    rain: NDArray[np.int8]
    """How the rain after the whole job stands."""

    @classmethod
    def of(
        cls,
        plan: FarmArrays,
        look: Look,
        series: WeatherSeries,
        starts: Seconds,
        rig: ChangedRig | None = None,
    ) -> "_Course":
        expects = {
            name: where[np.searchsorted(look.series.times, series.times, side="right") - 1]
            & (series.times <= starts[0])
            for name, where in look.expects.items()
        }
        per_run = len(series) // series.runs
        now_index = int(np.searchsorted(series.times[:per_run], starts[0]))
        whole = PlainLook(plan.fields, series, look.wind_uncertainty_m_s, expects)
        judgement = _judged(plan, whole, rig, now_index)
        plan = judgement.plan
        stands = {c.limit: plan.of_fields(c.stand) for c in judgement.found}
        shape = judgement.instant.shape
        after = stands.pop(Limit.RAIN_AFTER, np.full((1, 1, 1), LimitState.HOLDS, np.int8))
        during = np.full(shape, LimitState.HOLDS, dtype=np.int8)
        for stand in stands.values():
            np.minimum(during, stand, out=during)
        first_of_run = per_run * np.arange(series.runs)[:, None]
        every = first_of_run + np.searchsorted(series.times[:per_run], starts)  # [N, B]
        unknown_at = next_true(series, during == LimitState.UNKNOWN)[..., every]
        return cls(
            series,
            starts,
            plan.duration_s,
            stands,
            next_true(series, during == LimitState.BROKEN)[..., every],
            np.minimum(unknown_at, ends(series)[-1]),
            np.broadcast_to(after, shape)[..., every],
        )

    def _breaks(self, share: float) -> tuple[Floats, NDArray[np.bool_]]:
        """When a share of each job is done [F, S, 1, B], and where a limit breaks before that."""
        done = (self.starts + share * self.duration_s[:, :, None])[:, :, None, :]
        return done, self.broken_at < done

    def outcome(self, share: float = 1.0) -> NDArray[np.int8]:
        """Return what becomes of a share of each job from its beginning on."""
        done, breaks = self._breaks(share)
        outcome = np.full(self.broken_at.shape, HELD, dtype=np.int8)
        outcome[(self.known_to < done) | (self.rain == LimitState.UNKNOWN)] = UNKNOWN
        outcome[breaks | (self.rain == LimitState.BROKEN)] = BROKEN
        return outcome

    def ended(self) -> dict[Limit, NDArray[np.bool_]]:
        """Return where each limit is among the first that break."""
        _, breaks = self._breaks(1.0)
        per_run = len(self.series) // self.series.runs
        times = self.series.times[:per_run]
        first_of_run = per_run * np.arange(self.series.runs)[:, None]
        when = first_of_run + np.searchsorted(times, np.where(breaks, self.broken_at, times[0]))
        flat = when.reshape(*when.shape[:2], -1)
        shape = (*when.shape[:2], len(self.series))
        found = {Limit.RAIN_AFTER: ~breaks & (self.rain == LimitState.BROKEN)}
        for limit, stand in self.stands.items():
            first = np.take_along_axis(np.broadcast_to(stand, shape), flat, axis=2)
            found[limit] = breaks & (first.reshape(when.shape) == LimitState.BROKEN)
        return found
