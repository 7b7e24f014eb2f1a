"""The chances of the farm's jobs at one moment, kept with what comes of them.

Worked out once an issue and once an hour, beside the watch and never before a reading.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from sqlalchemy.orm import Session

from watcher.forecasts.history import AHEAD, HOUR_S, PATH_H
from watcher.forecasts.scenarios import Scenarios, scenarios
from watcher.forecasts.within_hour import HALVES, STEP_S, Patterns, spread_out
from watcher.judge.chances import (
    BROKEN,
    HELD,
    LIMITS,
    STARTS_AHEAD_S,
    Chances,
    FarmChances,
    chances,
    outcomes,
)
from watcher.judge.changed_rig import ChangedRig
from watcher.judge.farm_judgement import Look, PlainLook
from watcher.judge.timeline import Timeline
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.service import forecast_history
from watcher.service.history import past_ten_minutes
from watcher.store import aggregates
from watcher.store import chances as kept
from watcher.store.database import Database
from watcher.store.tables import ChanceOutcome, ChanceSaid
from watcher.weather.series import Floats, Seconds, WeatherSeries

_SCENARIOS = 100
_MOST_JUDGED = 100 * 30 * 8
"""Scenarios × fields × setups: of a very large farm fewer scenarios are judged."""
_FEWEST_SCENARIOS = 20
_PATTERNS_OF_S = 30 * 24 * HOUR_S
_KEPT_LEADS_H = (0, 3, 6, 12, 24)
_LEAST_KEPT = 0.02
"""A chance under it says nothing that anybody waits for, as of a job at night: it is not kept."""
_LOOKS_BACK_S = 48 * HOUR_S
_SETTLED_S = HOUR_S
_CLOSED_AT_ONCE = 200
_SAME_DURATION_S = 60
_HOUR_MEASURED_S = 120
"""An hour's last readings are in so long after it."""


def work_out(
    session: Session, plan: FarmArrays, whole: Timeline, rigs: Sequence[ChangedRig] = ()
) -> FarmChances:
    """Work out the chances of every field from the log and the timeline of the moment.

    ``rigs`` are those of open jobs that were changed in the field: the chances of their fields are
    worked out with them, too.
    """
    parts: list[Chances] = []
    of_rigs: list[tuple[ChangedRig, Chances]] = []
    for look in (look for look in (whole, *whole.others) if look.feeds):
        part, *changed = _of_look(session, plan, look, rigs)
        parts.append(part[1])
        of_rigs += [(rig, chances_of) for rig, chances_of in changed if rig is not None]
    return FarmChances(whole.now, tuple(parts), tuple(of_rigs), tuple(rigs))


def _of_look(
    session: Session, plan: FarmArrays, look: Timeline, rigs: Sequence[ChangedRig]
) -> list[tuple[ChangedRig | None, Chances]]:
    """Return the chances of the fields of a look, then those of each rig in one of them."""
    farm, now = plan.farm, look.now
    own = plan.only(look.fields)
    stations = plan.hears(look.fields[0])
    rng = np.random.default_rng(now)
    of_size = _MOST_JUDGED // (len(own.fields) * len(own.setups))
    count = min(_SCENARIOS, max(_FEWEST_SCENARIOS, of_size))
    history = forecast_history.history(session, farm, stations, look.feeds, now)
    drawn = scenarios(history, count, rng)
    patterns = _patterns(session, plan, stations, now)
    at = int(history.at[-1])
    times, values = _halves(at, drawn, patterns, look, rng)
    starts = _starts(plan, look, int(times[-1]))
    path_hour = (starts - at) // HOUR_S - PATH_H[0]
    here = [rig for rig in rigs if rig.field in look.fields and rig.fits(plan)]
    return [
        (
            rig,
            chances(
                own if rig is None else plan.only((rig.field,)),
                look,
                look.now_index,
                times=times,
                values=values,
                starts=starts,
                past_forecasts=drawn.past_forecasts[path_hour],
                rig=rig,
            ),
        )
        for rig in (None, *here)
    ]


def _starts(plan: FarmArrays, look: Timeline, last: int) -> Seconds:
    """Return now, every full and every half hour of the horizon, and of three days at least.

    None after the last time of the scenarios: of those nothing is known.
    """
    times = look.series.times[look.now_index :]
    halves = times[:-1] + (times[1:] - times[:-1]) // HALVES
    steps = np.union1d(times, halves[halves % (HOUR_S // HALVES) == 0])
    ahead_s = max(plan.farm.config.judging.horizon, STARTS_AHEAD_S)
    return steps[(steps < look.now + ahead_s) & (steps <= last)]


def _patterns(session: Session, plan: FarmArrays, stations: Sequence[str], now: int) -> Patterns:
    sources = plan.farm.config.sources
    wind = next((s for s in stations if "wind" in sources[s].measures), None)
    first = (now - _PATTERNS_OF_S) // HOUR_S * HOUR_S
    if wind is None:
        none = np.empty(0)
        return Patterns.of(np.empty(0, np.int64), none, none)
    series = aggregates.bins(session, wind, STEP_S, first, now // HOUR_S * HOUR_S).series
    return Patterns.of(series.times, series.wind_m_s, series.gust_m_s)


def _halves(
    at: int, drawn: Scenarios, patterns: Patterns, look: Timeline, rng: np.random.Generator
) -> tuple[Seconds, dict[str, Floats]]:
    """Return the half hours of the scenarios after now, as far as the timeline goes."""
    half_s = HOUR_S // HALVES
    begins = at + HOUR_S * PATH_H[AHEAD]
    times = (begins[:, None] + half_s * np.arange(HALVES)).ravel()
    hours = {name: values[:, AHEAD] for name, values in drawn.values.items()}
    halves = {name: np.repeat(values, HALVES, axis=1) for name, values in hours.items()}
    halves["wind_m_s"], halves["gust_m_s"] = spread_out(
        hours["wind_m_s"], hours["gust_m_s"], patterns, rng
    )
    ahead = (times > look.now) & (times <= look.series.times[-1])
    return times[ahead], {name: values[:, ahead] for name, values in halves.items()}


def said(plan: FarmArrays, whole: Timeline, worked_out: FarmChances) -> list[ChanceSaid]:
    """Return the chances to keep: each field's best setup, a few starts ahead."""
    found = []
    for part in worked_out.parts:
        look = whole.of(part.fields[0])
        own = plan.only(part.fields)
        truth, _ = outcomes(own, look, look.series, part.starts)
        judged = np.flatnonzero(np.isin(part.starts, look.series.times))  # where the timeline is
        for lead_h in _KEPT_LEADS_H:
            later = judged[part.starts[judged] >= whole.now + lead_h * HOUR_S]
            if not later.size:
                continue
            b = int(later[0])
            for f, field in enumerate(part.fields):
                chance = np.where(np.isnan(part.held[f, :, b]), -1.0, part.held[f, :, b])
                s = int(chance.argmax())
                if chance[s] < _LEAST_KEPT:
                    continue
                start = int(part.starts[b])
                found.append(
                    ChanceSaid(
                        field=field,
                        setup=part.setups[s],
                        said_at=whole.now,
                        starts_at=start,
                        ends_at=int(start + part.duration_s[f, s]),
                        chance=float(chance[s]),
                        past_forecasts=int(part.past_forecasts[b]),
                        foretold_open=bool(truth[f, s, 0, b] == HELD),
                    )
                )
    return found


def came_of(
    session: Session, plan: FarmArrays, now: int
) -> list[tuple[ChanceSaid, ChanceOutcome, str | None]]:
    """Return what came of chances whose jobs would be over, by what the stations measured."""
    dry_s = _dry_s(plan)
    waiting = kept.open_said(session, now - dry_s - _SETTLED_S, _CLOSED_AT_ONCE)
    known = [w for w in waiting if w.field in plan.fields and w.setup in plan.setups]
    found: list[tuple[ChanceSaid, ChanceOutcome, str | None]] = [
        (w, "unknown", None) for w in waiting if w not in known
    ]
    for stations, fields in plan.listens.items():
        mine = [w for w in known if w.field in fields]
        if not mine:
            continue
        starts, ends = (w.starts_at for w in mine), (w.ends_at for w in mine)
        look = _measured(session, plan, (stations, fields), min(starts), max(ends))
        found += _closed(plan.only(fields), look, mine)
    return found


def as_foretold(plan: FarmArrays, whole: Timeline, worked_out: FarmChances) -> FarmChances:
    """Return the chances of one forecast that is taken as true: 1, 0, or NaN where unknown."""

    def each(part: Chances) -> Chances:
        look = whole.of(part.fields[0])
        hours = look.series
        times = np.union1d(hours.times, part.starts)
        stands = np.searchsorted(hours.times, times, side="right") - 1
        values = {name: array[stands] for name, array in hours.quantities().items()}
        bounds = {n: (least[stands], most[stands]) for n, (least, most) in hours.bounds.items()}
        series = WeatherSeries.of(times, hours.site, hours.source, values, bounds)
        return _certain(plan.only(part.fields), part, look, series)

    return replace(worked_out, parts=tuple(map(each, worked_out.parts)))


def as_measured(session: Session, plan: FarmArrays, worked_out: FarmChances) -> FarmChances:
    """Return what came of the same jobs by what the stations measured: 1, 0, or NaN if unknown."""

    def each(part: Chances) -> Chances:
        of = plan.hears(part.fields[0]), part.fields
        ends = int(part.starts[-1] + part.duration_s.max())
        look = _measured(session, plan, of, int(part.starts[0]), ends)
        return _certain(plan.only(part.fields), part, look, look.series)

    return replace(worked_out, parts=tuple(map(each, worked_out.parts)))


def _certain(plan: FarmArrays, part: Chances, look: Look, series: WeatherSeries) -> Chances:
    outcome = outcomes(plan, look, series, part.starts)[0][:, :, 0]
    held = np.where(outcome == HELD, 1.0, np.where(outcome == BROKEN, 0.0, np.nan))
    held[~plan.allowed] = 0.0
    return replace(part, held=held, half=held, ends_it=np.full(held.shape, -1, np.int8))


def _dry_s(plan: FarmArrays) -> int:
    """How long it has to stay dry after a job at most. [s]"""
    need = plan.bounds[Limit.RAIN_AFTER].low if Limit.RAIN_AFTER in plan.bounds else np.zeros(1)
    return int(np.max(need, where=np.isfinite(need), initial=0.0))


def _measured(
    session: Session,
    plan: FarmArrays,
    of: tuple[Sequence[str], tuple[str, ...]],
    starts: int,
    ends: int,
) -> PlainLook:
    """Return what stations measured for fields around jobs that were begun and over then.

    Nothing is expected of them: what a station did not give in a while past is missing as it is.
    """
    stations, fields = of
    first, last = starts - _LOOKS_BACK_S, ends + _dry_s(plan) + _SETTLED_S
    measured = past_ten_minutes(session, plan.farm, first, last, stations)
    return PlainLook(fields, measured, wind_uncertainty_m_s=0.0)


def _closed(
    plan: FarmArrays, look: PlainLook, waiting: Sequence[ChanceSaid]
) -> list[tuple[ChanceSaid, ChanceOutcome, str | None]]:
    starts = np.array(sorted({w.starts_at for w in waiting}), dtype=np.int64)
    outcome, ended = outcomes(plan, look, look.series, starts)
    found: list[tuple[ChanceSaid, ChanceOutcome, str | None]] = []
    for one in waiting:
        f, s = plan.fields.index(one.field), plan.setups.index(one.setup)
        case = f, s, 0, int(np.searchsorted(starts, one.starts_at))
        lasts = plan.duration_s[f, s]
        if abs(one.ends_at - one.starts_at - lasts) > _SAME_DURATION_S:
            found.append((one, "unknown", None))  # the field or the sprayer is another by now
        elif outcome[case] == HELD:
            found.append((one, "held", None))
        elif outcome[case] == BROKEN:
            by = next(
                (limit.value for limit in LIMITS if limit in ended and ended[limit][case]), None
            )
            found.append((one, "broken", by))
        else:
            found.append((one, "unknown", None))
    return found


@dataclass(frozen=True)
class _Worked:
    """What one look brought: the chances, and what of it is to be kept."""

    plan: FarmArrays
    chances: FarmChances
    pairs: forecast_history.NewPairs
    said: Sequence[ChanceSaid]
    outcomes: Sequence[tuple[ChanceSaid, ChanceOutcome, str | None]]


class ChanceKeeper:
    """Works the chances out when they are due, and keeps them with what came of them."""

    def __init__(self, plan: FarmArrays, store: Database) -> None:
        self.plan, self.store = plan, store
        self.latest: FarmChances | None = None
        self._asked = True
        self._said_at = 0

    def use(self, plan: FarmArrays) -> None:
        """Work them out for another farm from now on; those of the one before are of no use."""
        self.plan, self.latest, self._asked = plan, None, True

    def ask(self) -> None:
        """Note that a feed has foretold anew: the chances are due."""
        self._asked = True

    def due(self, now: int, rigs: Sequence[ChangedRig] = ()) -> bool:
        """Whether to work them out: after a new issue, in each hour once it is measured,

        and when the rig of an open job was changed.
        """
        hour = (now - _HOUR_MEASURED_S) // HOUR_S
        worked = self.latest
        if self._asked or worked is None or worked.rigs != tuple(rigs):
            return True
        return hour > (worked.at - _HOUR_MEASURED_S) // HOUR_S

    def look(self, timeline: Timeline, rigs: Sequence[ChangedRig] = ()) -> _Worked:
        """Work the chances out. Takes a second of processor: not on the log's thread."""
        self._asked = False
        now, plan = timeline.now, self.plan
        with self.store.reading() as session:
            found = work_out(session, plan, timeline, rigs)
            pairs = forecast_history.new_pairs(session, plan.farm, now)
            outcomes = came_of(session, plan, now)
        new = now // forecast_history.EVERY_S > self._said_at // forecast_history.EVERY_S
        kept_of = said(plan, timeline, found) if new else ()
        return _Worked(plan, found, pairs, kept_of, outcomes)

    def keep(self, worked: _Worked) -> None:
        """Write what is to be kept, quickly."""
        with self.store.writing() as session:
            forecast_history.put(session, worked.pairs)
            kept.put_said(session, worked.said)
            kept.close_said(session, worked.outcomes)
        if worked.said:
            self._said_at = worked.chances.at
        if worked.plan is self.plan:  # those of a farm that was changed meanwhile are of no use
            self.latest = worked.chances
