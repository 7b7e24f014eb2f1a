"""One step of each kind a farm's log is written and read by, for two farms that take the same."""

from collections.abc import Callable

import numpy as np
from sqlalchemy.orm import Session

from watcher.sources.base import Flag, Forecast, GivenValues, Observations, RainFall
from watcher.store import (
    aggregates,
    chances,
    conditions,
    health,
    jobs,
    moving,
    outbox,
    plans,
    rain,
    records,
    refused,
    runs,
    shifting,
    statuses,
    weather,
)
from watcher.store.conditions import Raised
from watcher.store.outbox import NewMessage
from watcher.store.refused import Refused
from watcher.store.statuses import Stand
from watcher.store.tables import ChanceSaid, JobEvent, JobStep, RecordEntry
from watcher.weather.series import Site, WeatherSeries

START = 1_700_000_400
"""2023-11-14 22:20 UTC, by GNU date."""
_SITE = Site(41.0, -96.0, elevation_m=300.0)
_HOURS = {name: np.array([1.0, 2.0]) for name in chances.KEPT}


def _series(at: int, value: float, times: int = 4, step_s: int = 600) -> WeatherSeries:
    return WeatherSeries.of(
        [at + step_s * n for n in range(times)], _SITE, "mast", {"wind_m_s": [value] * times}
    )


def readings(session: Session, at: int, value: float) -> object:
    flags = {"wind_m_s": np.array([0, 0, 0, Flag.FUTURE], dtype=np.uint16)}
    fall = RainFall(np.array([at]), np.array([value]), is_total=True)
    came = Observations(_series(at, value), flags, rain_fall=fall)
    return weather.add_observations(session, rain.with_rates(session, came, at), at)


def forecast(session: Session, at: int, value: float) -> object:
    given = GivenValues("wind_m_s", "mean", np.array([at]), np.array([3600]), np.array([value]))
    series = _series(at, value, 3, 3600)
    return weather.add_forecast(session, Forecast(series, at, at, "terms", given=(given,)))


def message(session: Session, at: int, value: float) -> object:
    kept = outbox.put(
        session,
        NewMessage(
            key=f"news {value}",
            short_id=outbox.short_id(f"{value}"),
            about="job",
            kind="job.stop",
            recipient="anna",
            title="t",
            body=f"{value}",
            created_at=at,
            caused_at=at,
            due_at=at,
            expires_at=at + 7200,
            urgent=value > 3.0,
        ),
    )
    taken = [(m.id, m.key, m.attempts) for m in outbox.claim(session, at + 60, 30, 2)]
    return kept, taken, [m.id for m in outbox.newest(session, 50)]


def answered(session: Session, at: int, value: float) -> object:
    known = [m.id for m in outbox.newest(session, 1)]
    sent = [outbox.mark_sent(session, number, at) for number in known]
    failed = [outbox.mark_failed(session, number - 1, 1, "no", at + 60) for number in known]
    seen = outbox.acknowledge(session, outbox.short_id(f"{value}"), "anna", at)
    shown = outbox.mark_shown(session, outbox.short_id(f"{value}"), "anna", at, since=0)
    gone = [m.id for m in outbox.expire(session, at)]
    lost = outbox.lost(session, [f"news {value}"], at)
    return sent, failed, [m.id for m in seen], shown, gone, lost, outbox.counts(session)


def job(session: Session, at: int, value: float) -> object:
    if jobs.busy(session, "hill", "boom"):
        job = jobs.open_jobs(session)[0]
        job.state, job.ended_at = "finished", at
    else:
        job = jobs.start(
            session, field="hill", setup="fine", sprayer="boom", at=at, planned_s=value
        )
    key = f"{job.id}.{len(jobs.steps(session, job.id))}"
    session.add(JobStep(job_id=job.id, name="start", by="anna", key=key, at=at,
                        received_at=at, asked={}, detail={}))  # fmt: skip
    session.add_all(
        [JobEvent(job_id=job.id, at=at, what=what, detail={}) for what in ("one", "other")]
    )
    session.flush()
    return job.id, [e.id for e in jobs.events(session, job.id)], jobs.newest_event(session)


def record(session: Session, at: int, value: float) -> object:
    last = records.last_entry(session, hold=True)
    number = 1 if last is None else last.number + 1
    before = "" if last is None else last.hash
    entry = RecordEntry(number=number, kind="told", at=at, by="anna", content=f"{value}",
                        previous=before, hash=f"of {number}")  # fmt: skip
    records.add_entry(session, entry)
    return [e.content for e in records.entries(session)]


def condition(session: Session, at: int, value: float) -> object:
    conditions.keep(session, [Raised("hill", "gusts", at, {"value": value}, at)])
    before = [c.since for c in conditions.raised(session)]
    if value > 3.0:
        conditions.clear(session, [("hill", "gusts")], at)
    return before, [c.kind for c in conditions.raised(session)]


def source(session: Session, at: int, value: float) -> object:
    health.answered(session, "mast", at, at)
    count = health.failed(session, "mast", at, f"{value}")
    refused.add(session, [Refused("mast", "token", 1, at, f"{value}", ("here",))], at)
    return count, refused.of_last_day(session, at)


def status(session: Session, at: int, value: float) -> object:
    statuses.record(
        session, at, {"hill": Stand(f"{value}", None, []), "dale": Stand("x", None, [])}
    )
    return [(name, row.id, row.status) for name, row in statuses.current(session).items()]


def run(session: Session, at: int, value: float) -> object:
    number = runs.begin(session, at)
    runs.seen(session, number, at + int(value))
    runs.touch(session)
    first, last = runs.first(session), runs.last(session)
    return number, first and first.id, last and last.id


def plan(session: Session, at: int, value: float) -> object:
    number = plans.put(session, at, {"value": value})
    new = plans.say(session, "yes", by="anna", key=f"{value}", at=at, content={}, plan=number)
    kept = plans.of_number(session, number)
    return number, new, kept and kept.content, plans.issues(session, at)


def chance(session: Session, at: int, value: float) -> object:
    chances.put_foretold(session, "feed", "mast", _SITE, at=at, foretold=_HOURS)
    chances.put_measured(session, "feed", "mast", at, _HOURS)
    said = ChanceSaid(field="hill", setup="fine", said_at=at, starts_at=at, ends_at=at + 60,
                      chance=value / 10, past_forecasts=1, foretold_open=True)  # fmt: skip
    chances.put_said(session, [said])
    open_ = chances.open_said(session, at + 3600, 5)
    chances.close_said(session, [(one, "held", None) for one in open_[:1]])
    return len(chances.pairs(session, "feed", "mast", 0)), len(chances.known_said(session, 0))


def tend(session: Session, at: int, value: float) -> object:
    return aggregates.tend(session, at + 86_400 * int(value), keep_raw_s=86_400.0)


def shift(session: Session, at: int, value: float) -> object:
    shifting.shift(session, at, at + 3600, 1200 + int(value))
    return None


def read(session: Session, at: int, value: float) -> object:
    found = weather.observations(session, "mast", 0, at + 86_400)
    forecast = weather.latest_forecast(session, "mast", at)
    return (
        found.series.times.tolist(),
        found.series.wind_m_s.tolist(),
        weather.newest_time(session, "mast"),
        forecast and forecast.series.wind_m_s.tolist(),
        len(weather.foretold(session, "mast", at, at + 7200, within_s=86_400)),
        [len(f.series) for f in weather.forecasts_for(session, "mast", 0, at + 86_400)],
        aggregates.beginning(session),
        aggregates.finest(session, "mast", at, at + 3600, most=2).wind_m_s.tolist(),
        aggregates.has_any(session, "mast", at, at + 3600),
        [a.at for a in records.arrivals(session, "mast", 0, at)] if value < 0 else None,
        moving.moved_out(session),
    )


STEPS: tuple[Callable[[Session, int, float], object], ...] = (
    readings, forecast, message, answered, job, record, condition, source, status, run,
    plan, chance, tend, shift, read,
)  # fmt: skip
