"""A past season day by day with the plan: what would have been sprayed, when, and what held.

Each day stands by itself, with the fields that by the log's jobs were still to be sprayed in its
morning: so that all ways of choosing are given the same.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from enum import StrEnum

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import observes
from watcher.jobs.recently_sprayed import recently_sprayed
from watcher.judge.chances import FarmChances
from watcher.judge.farm_judgement import judge_each
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.wall_clock import wall_instant
from watcher.planning.choices import worth_by_chance
from watcher.planning.day_plan import DayPlan, Planner, PlanStep
from watcher.service.chances import as_foretold, as_measured, work_out
from watcher.service.day_plan import SOLVER_S, day_ends
from watcher.service.planning import planner
from watcher.service.snapshot import compose
from watcher.store import aggregates

MORNING = time(5)
"""When each day is planned, on the farm's clock (a choice): before the first hours to spray in."""


class Strategy(StrEnum):
    """How it is chosen what to spray."""

    PLAN = "plan"
    """The plan of the morning, on its chances."""
    RANKING = "ranking"
    """Whoever is free takes the scarcest open field, the morning's forecast taken as true."""
    PERFECT = "perfect"
    """The plan of who knows what the stations will measure."""


class LeftOutDay(StrEnum):
    """Why a day is not compared."""

    NOT_FORETOLD = "not foretold"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class PlannedJob:
    """A job as it would have come."""

    step: PlanStep
    held: bool | None
    """None: not known by what was measured."""
    worth: float
    """What it realised: less than nothing where it broke off."""


@dataclass(frozen=True)
class PlannedDay:
    """One day: the jobs of each way in the order they begin, or why there are none."""

    day: date
    jobs: Mapping[Strategy, tuple[PlannedJob, ...]] = field(default_factory=dict)
    windows: frozenset[str] = frozenset()
    """The fields for which at least one start would have held."""
    left_out: LeftOutDay | None = None

    def missed(self, way: Strategy) -> int:
        """Return how many fields had a window and were not finished."""
        return len(self.windows - {job.step.field for job in self.jobs[way] if job.held})


@dataclass
class WayTotal:
    """What a way comes to over the days that are compared."""

    finished: int = 0
    broken: int = 0
    not_known: int = 0
    worth: float = 0.0
    missed: int = 0

    def add(self, day: PlannedDay, way: Strategy) -> None:
        """Count a day's jobs in."""
        held = [job.held for job in day.jobs[way]]
        self.finished += held.count(True)
        self.broken += held.count(False)
        self.not_known += held.count(None)
        self.worth += sum(job.worth for job in day.jobs[way])
        self.missed += day.missed(way)


def planned_days(
    session: Session, plan: FarmArrays, start: int, end: int, *, months: Collection[int] = ()
) -> Iterator[PlannedDay]:
    """Yield the whole days from their morning on in ``start <= time < end``, one at a time.

    In the given months of the farm's calendar only, if any. A second of processor a day or more.
    """
    zone = plan.farm.zone
    day, last = (datetime.fromtimestamp(at, zone).date() for at in (start, end))
    while day <= last:
        now = wall_instant(day, MORNING, zone)
        if start <= now and day_ends(plan.farm, now) <= end and (not months or day.month in months):
            yield _planned(session, plan, day, now)
        day += timedelta(days=1)


def _planned(session: Session, plan: FarmArrays, day: date, now: int) -> PlannedDay:
    timeline = compose(session, plan, now)
    lately = recently_sprayed(session, plan.farm, now)
    own = plan.leaving(lately.left)
    chances = _of_today(work_out(session, own, timeline), day_ends(plan.farm, now))
    if not chances.parts:
        return PlannedDay(day, left_out=LeftOutDay.NOT_FORETOLD)
    if not _measured(session, plan.farm, now):
        return PlannedDay(day, left_out=LeftOutDay.NOT_MEASURED)
    came = as_measured(session, own, chances)
    judgement = judge_each(own, (timeline, *timeline.others))
    known = {
        Strategy.PLAN: chances,
        Strategy.RANKING: as_foretold(own, timeline, chances),
        Strategy.PERFECT: came,
    }
    planners = {
        way: planner(judgement, timeline.now_index, of, done=lately.done, whole=True)
        for way, of in known.items()
    }
    jobs: dict[Strategy, tuple[PlannedJob, ...]] = dict.fromkeys(Strategy, ())
    windows: frozenset[str] = frozenset()
    for way, of in planners.items():
        if of is None:  # nothing is left to be sprayed
            continue
        found = of.dispatched() if way is Strategy.RANKING else of.plan(at_most_s=SOLVER_S)
        jobs[way] = _came(of, found, came)
        if way is Strategy.PERFECT:
            windows = _windows(of)
    jobs[Strategy.PERFECT] = _best(jobs)
    return PlannedDay(day, jobs, windows)


def _measured(session: Session, farm: Farm, now: int) -> bool:
    """Whether any station measured the wind in the rest of a day: without it no job is known."""
    until = day_ends(farm, now)
    return any(
        aggregates.has_any(session, name, now, until)
        for name, entry in farm.config.sources.items()
        if observes(entry) and "wind" in entry.measures
    )


def _of_today(chances: FarmChances, until: int) -> FarmChances:
    """Return the chances of the starts before the day is over: the next one is planned anew."""
    parts = []
    for part in chances.parts:
        today = part.starts < until
        parts.append(
            replace(
                part,
                starts=part.starts[today],
                held=part.held[..., today],
                half=part.half[..., today],
                ends_it=part.ends_it[..., today],
                past_forecasts=part.past_forecasts[today],
            )
        )
    return replace(chances, parts=tuple(parts))


def _came(of: Planner, found: DayPlan, came: FarmChances) -> tuple[PlannedJob, ...]:
    """Return a plan's jobs with what came of them."""
    jobs = []
    for step in found.steps:
        part = next(p for p in came.parts if step.field in p.fields)
        at = int(np.searchsorted(part.starts, step.starts_at))
        share = float(part.held[part.fields.index(step.field), part.setups.index(step.setup), at])
        choices = of.choices
        start = int(np.searchsorted(choices.starts, step.starts_at))
        sprayer = choices.sprayers.index(step.sprayer)
        worth = choices.worth[sprayer, choices.fields.index(step.field), start]
        known = not np.isnan(share)
        realised = float(worth_by_chance(float(worth), share)) if known else 0.0
        jobs.append(PlannedJob(step, bool(share) if known else None, realised))
    return tuple(jobs)


def _windows(of: Planner) -> frozenset[str]:
    """Return the fields that hold from at least one start."""
    holds = (of.choices.chance == 1.0).any(axis=(0, 2))
    return frozenset(name for name, any_ in zip(of.choices.fields, holds, strict=True) if any_)


def _best(jobs: Mapping[Strategy, tuple[PlannedJob, ...]]) -> tuple[PlannedJob, ...]:
    """Return the jobs of who knows what comes: the search is no proof of the best order, but the
    jobs that held of any other way are an order too, and are known then."""
    held = [tuple(job for job in jobs[way] if job.held) for way in (Strategy.PERFECT, *jobs)]
    return max(held, key=lambda some: sum(job.worth for job in some))
