"""What came in and was done in past days, in the order in which the watch came to know of it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.jobs.steps import EVENT_OF, StepName
from watcher.service.history import past_hours
from watcher.sources.base import Forecast
from watcher.store import arrivals, jobs, weather
from watcher.store.arrivals import Arrived
from watcher.store.database import Database
from watcher.weather.bins import HOUR_S

HISTORY_S = 37 * HOUR_S
"""How long before a moment weather must be known for it to be judged as it was."""
_DAY_S = 24 * HOUR_S
_FORESEEN_S = 4 * _DAY_S
_STANDS_BY_S = 900
"""How often a forecast that its feed stood by for hours is taken as confirmed."""

_STEP_OF = {event: step for step, event in EVENT_OF.items()}


@dataclass(frozen=True)
class ReplayedStep:
    """What was done to a job of the log at a moment."""

    at: int
    job_id: int
    name: StepName
    field: str
    setup: str
    done: str
    said: Mapping[str, str]
    """What was measured by hand, or changed of the rig, as it was written."""


Event = Arrived | ReplayedStep


def known_before(
    log: Database, farm: Farm, start: int, *, foresight: bool = False
) -> list[Arrived]:
    """Return what of the log a watch that begins at ``start`` knows."""
    first = start - HISTORY_S
    with log.reading() as session:
        readings = [
            Arrived(start, weather.observations(session, name, first, start))
            for name, entry in farm.config.sources.items()
            if observes(entry)
        ]
        return readings + list(_forecasts_of(session, farm, first, start, foresight=foresight))


def happened(
    log: Database, farm: Farm, start: int, end: int, *, foresight: bool = False
) -> Iterator[Event]:
    """Yield what came in and was done in ``start <= time < end``, earliest first.

    A day at a time is in memory, and the log is read in one go for no longer. ``foresight``: what
    the weather then was is taken for its forecast, instead of the forecasts of the log.
    """
    waiting: list[Event] = []
    for day in range(start, end, _DAY_S):
        until = min(day + _DAY_S, end)
        with log.reading() as session:
            waiting += _readings_of(session, farm, day, until)
            waiting += _forecasts_of(session, farm, day, until, foresight=foresight)
            waiting += _job_steps(session, day, until)
        waiting.sort(key=lambda event: event.at)
        yield from (event for event in waiting if event.at < until)
        waiting = [event for event in waiting if event.at >= until]


def _readings_of(session: Session, farm: Farm, start: int, end: int) -> Iterator[Arrived]:
    for name, entry in farm.config.sources.items():
        if observes(entry):
            yield from arrivals.readings(session, name, start, end)


def _forecasts_of(
    session: Session, farm: Farm, start: int, end: int, *, foresight: bool
) -> Iterator[Arrived]:
    if foresight:
        yield from _foreseen(session, farm, start, end)
        return
    for name, entry in farm.config.sources.items():
        if foretells(entry):
            for arrived in arrivals.forecasts(session, name, start, end):
                yield from _stood_by(arrived)


def _stood_by(arrived: Arrived) -> Iterator[Arrived]:
    """A forecast as it came, and again for as long as its feed gave out the same."""
    until = arrived.at if arrived.forecast is None else arrived.forecast.fetched_at
    for at in range(arrived.at, max(until, arrived.at) + 1, _STANDS_BY_S):
        yield replace(arrived, at=at)


def _foreseen(session: Session, farm: Farm, start: int, end: int) -> Iterator[Arrived]:
    """Every hour the next days as they came, in the name of the farm's first feed."""
    feed = next((n for n, entry in farm.config.sources.items() if foretells(entry)), None)
    if feed is None:
        return
    came = past_hours(session, farm, start, end + _FORESEEN_S)
    whole = replace(came, source=feed)
    for at in range(start // HOUR_S * HOUR_S, end, HOUR_S):
        series = whole.between(at, at + _FORESEEN_S)
        yield Arrived(max(at, start), forecast=Forecast(series, at, at, "the weather as it came"))


def _job_steps(session: Session, start: int, end: int) -> Iterator[ReplayedStep]:
    """What was done to the jobs that were started in the time."""
    for job in jobs.past_jobs(session, start, end):
        setup = job.setup
        for event in jobs.events(session, job.id):
            setup = event.detail.get("to") or event.detail.get("setup") or setup
            if event.what in _STEP_OF:
                share = event.detail.get("done_share")
                done = "" if share is None else f"{100 * share} %"
                yield ReplayedStep(
                    event.at,
                    job.id,
                    _STEP_OF[event.what],
                    job.field,
                    setup,
                    done,
                    event.detail.get("said", {}),
                )
