"""Two farms with equal names in one log behave as if each had the log to itself."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, insert, select, text
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from tests.support.new_log import new_log
from watcher.sources.base import Flag, Forecast, GivenValues, Observations, RainFall
from watcher.store import (
    aggregates,
    chances,
    conditions,
    handover,
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
from watcher.store.database import Database
from watcher.store.errors import UnknownFarmError, UnknownJobError
from watcher.store.outbox import NewMessage
from watcher.store.refused import Refused
from watcher.store.statuses import Stand
from watcher.store.tables import (
    ChanceSaid,
    Farm,
    FarmTable,
    JobEvent,
    JobStep,
    Observation,
    RecordEntry,
    own_columns,
)
from watcher.weather.series import Site, WeatherSeries

START = 1_700_000_400
"""2023-11-14 22:20 UTC, by GNU date."""
_SITE = Site(41.0, -96.0, elevation_m=300.0)
_HOURS = {name: np.array([1.0, 2.0]) for name in chances.KEPT}


def _series(at: int, value: float, times: int = 4, step_s: int = 600) -> WeatherSeries:
    return WeatherSeries.of(
        [at + step_s * n for n in range(times)], _SITE, "mast", {"wind_m_s": [value] * times}
    )


def _readings(session: Session, at: int, value: float) -> object:
    flags = {"wind_m_s": np.array([0, 0, 0, Flag.FUTURE], dtype=np.uint16)}
    fall = RainFall(np.array([at]), np.array([value]), is_total=True)
    came = Observations(_series(at, value), flags, rain_fall=fall)
    return weather.add_observations(session, rain.with_rates(session, came, at), at)


def _forecast(session: Session, at: int, value: float) -> object:
    given = GivenValues("wind_m_s", "mean", np.array([at]), np.array([3600]), np.array([value]))
    series = _series(at, value, 3, 3600)
    return weather.add_forecast(session, Forecast(series, at, at, "terms", given=(given,)))


def _message(session: Session, at: int, value: float) -> object:
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


def _answered(session: Session, at: int, value: float) -> object:
    known = [m.id for m in outbox.newest(session, 1)]
    sent = [outbox.mark_sent(session, number, at) for number in known]
    failed = [outbox.mark_failed(session, number - 1, 1, "no", at + 60) for number in known]
    seen = outbox.acknowledge(session, outbox.short_id(f"{value}"), "anna", at)
    shown = outbox.mark_shown(session, outbox.short_id(f"{value}"), "anna", at, since=0)
    gone = [m.id for m in outbox.expire(session, at)]
    lost = outbox.lost(session, [f"news {value}"], at)
    return sent, failed, [m.id for m in seen], shown, gone, lost, outbox.counts(session)


def _job(session: Session, at: int, value: float) -> object:
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


def _record(session: Session, at: int, value: float) -> object:
    last = records.last_entry(session, hold=True)
    number = 1 if last is None else last.number + 1
    before = "" if last is None else last.hash
    entry = RecordEntry(number=number, kind="told", at=at, by="anna", content=f"{value}",
                        previous=before, hash=f"of {number}")  # fmt: skip
    records.add_entry(session, entry)
    return [e.content for e in records.entries(session)]


def _condition(session: Session, at: int, value: float) -> object:
    conditions.keep(session, [Raised("hill", "gusts", at, {"value": value}, at)])
    before = [c.since for c in conditions.raised(session)]
    if value > 3.0:
        conditions.clear(session, [("hill", "gusts")], at)
    return before, [c.kind for c in conditions.raised(session)]


def _source(session: Session, at: int, value: float) -> object:
    health.answered(session, "mast", at, at)
    count = health.failed(session, "mast", at, f"{value}")
    refused.add(session, [Refused("mast", "token", 1, at, f"{value}", ("here",))], at)
    return count, refused.of_last_day(session, at)


def _status(session: Session, at: int, value: float) -> object:
    statuses.record(
        session, at, {"hill": Stand(f"{value}", None, []), "dale": Stand("x", None, [])}
    )
    return [(name, row.id, row.status) for name, row in statuses.current(session).items()]


def _run(session: Session, at: int, value: float) -> object:
    number = runs.begin(session, at)
    runs.seen(session, number, at + int(value))
    runs.touch(session)
    first, last = runs.first(session), runs.last(session)
    return number, first and first.id, last and last.id


def _plan(session: Session, at: int, value: float) -> object:
    number = plans.put(session, at, {"value": value})
    new = plans.say(session, "yes", by="anna", key=f"{value}", at=at, content={}, plan=number)
    kept = plans.of_number(session, number)
    return number, new, kept and kept.content, plans.issues(session, at)


def _chance(session: Session, at: int, value: float) -> object:
    chances.put_foretold(session, "feed", "mast", _SITE, at=at, foretold=_HOURS)
    chances.put_measured(session, "feed", "mast", at, _HOURS)
    said = ChanceSaid(field="hill", setup="fine", said_at=at, starts_at=at, ends_at=at + 60,
                      chance=value / 10, past_forecasts=1, foretold_open=True)  # fmt: skip
    chances.put_said(session, [said])
    open_ = chances.open_said(session, at + 3600, 5)
    chances.close_said(session, [(one, "held", None) for one in open_[:1]])
    return len(chances.pairs(session, "feed", "mast", 0)), len(chances.known_said(session, 0))


def _tend(session: Session, at: int, value: float) -> object:
    return aggregates.tend(session, at + 86_400 * int(value), keep_raw_s=86_400.0)


def _shift(session: Session, at: int, value: float) -> object:
    shifting.shift(session, at, at + 3600, 1200 + int(value))
    return None


def _read(session: Session, at: int, value: float) -> object:
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
    _readings, _forecast, _message, _answered, _job, _record, _condition, _source, _status, _run,
    _plan, _chance, _tend, _shift, _read,
)  # fmt: skip


def _rows(session: Session) -> dict[str, list[Any]]:
    """Everything a farm has, by table."""
    found = {}
    for table in FarmTable.__subclasses__():
        columns = [getattr(table, name) for name in own_columns(table)]
        found[table.__tablename__] = sorted(map(repr, session.execute(select(*columns)).all()))
    return found


@dataclass(frozen=True)
class _Logs:
    shared: dict[int, Database]
    alone: dict[int, Database]

    def close(self) -> None:
        for log in (*self.shared.values(), *self.alone.values()):
            log.close()


def _add_farm(log: Database, number: int) -> None:
    with log.writing() as session:
        session.add(Farm(id=number, name=f"farm {number}"))


def _logs(folder: Path) -> _Logs:
    first = new_log(folder / "shared.db", lasting=False)
    _add_farm(first, 2)
    second = Database(f"sqlite:///{folder / 'shared.db'}", farm=2, lasting=False)
    alone = {number: new_log(folder / f"{number}.db", lasting=False) for number in (1, 2)}
    return _Logs({1: first, 2: second}, alone)


_ONE_STEP = st.tuples(
    st.sampled_from((1, 2)),
    st.sampled_from(STEPS),
    st.integers(0, 40),
    st.sampled_from((2.0, 3.0, 4.0)),
)


@given(steps=st.lists(_ONE_STEP, min_size=4, max_size=16))
def test_no_farm_sees_or_changes_anothers_rows(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[int, Any, int, float]]
) -> None:
    """Whatever two farms do by turns in one log, each is told and left with what it would be alone.

    They use the same names, keys, times and numbers throughout.
    """
    logs = _logs(tmp_path_factory.mktemp("farms"))
    try:
        for farm, step, quarter, value in steps:
            at = START + 900 * quarter
            told = []
            for log in (logs.shared[farm], logs.alone[farm]):
                with log.writing() as session:
                    told.append(repr(step(session, at, value)))
            assert told[0] == told[1], step.__name__
        for farm in (1, 2):
            with logs.shared[farm].reading() as shared, logs.alone[farm].reading() as alone:
                assert _rows(shared) == _rows(alone)
    finally:
        logs.close()


def test_every_step_leaves_a_neighbours_rows_alone(tmp_path: Path) -> None:
    logs = _logs(tmp_path)
    # What is let go of and moved in time leaves less: first, so that there is something of all.
    for step in sorted(STEPS, key=lambda step: step not in (_tend, _shift)):
        with logs.shared[1].writing() as session:
            step(session, START, 3.0)
    with logs.shared[1].writing() as session:
        _tend(session, START, 1.0)
        _readings(session, START, 2.0)
        before = _rows(session)
    assert sum(map(bool, before.values())) == len(before)  # there is something of everything
    for _ in range(2):
        for step in STEPS:
            with logs.shared[2].writing() as session:
                step(session, START + 900, 4.0)
    with logs.shared[1].reading() as session:
        assert _rows(session) == before
    logs.close()


def test_a_log_that_stands_in_takes_over_one_farm_only(tmp_path: Path) -> None:
    logs = _logs(tmp_path)
    for farm, value in ((1, 2.0), (2, 4.0)):
        with logs.shared[farm].writing() as session:
            for step in (_readings, _forecast, _job, _message, _condition, _run, _source):
                step(session, START, value)
    wanted = handover.Wanted(("mast",), ("mast",), 86_400, 86_400)
    with logs.shared[2].reading() as session:
        copy = handover.copied(session, wanted, START + 3600)
    with logs.alone[1].writing() as session:
        handover.fill(session, copy)
        assert [m.body for m in outbox.newest(session, 9)] == ["4.0"]
        assert [job.planned_s for job in jobs.open_jobs(session)] == [4.0]
        given_back = handover.given_back(session, 0, received_from=0)
    with logs.shared[1].reading() as session:
        first = _rows(session)
    with logs.shared[2].writing() as session:
        handover.take_back(session, given_back)
    with logs.shared[1].reading() as session:
        assert _rows(session) == first
    logs.close()


def test_numbers_count_from_one_in_every_farm(tmp_path: Path) -> None:
    logs = _logs(tmp_path)
    for farm in (1, 2, 1):
        with logs.shared[farm].writing() as session:
            found = [runs.begin(session, START), runs.begin(session, START + 1)]
        with logs.shared[farm].reading() as session:
            last = runs.last(session)
    assert last is not None
    assert [*found, last.id] == [3, 4, 4]
    with logs.shared[2].reading() as session, pytest.raises(UnknownJobError):
        jobs.job(session, 3)
    logs.close()


def test_rows_written_at_once_are_numbered_one_after_the_other(log: Database) -> None:
    with log.writing() as session:
        job = jobs.start(session, field="a", setup="b", sprayer="c", at=START, planned_s=1.0)
        session.add_all([JobEvent(job_id=job.id, at=START, what=f"{n}", detail={})
                         for n in range(5)])  # fmt: skip
        session.flush()
        events = [{"job_id": job.id, "at": START, "what": "x", "detail": {}} for _ in range(3)]
        session.execute(insert(JobEvent), events)
    with log.reading() as session:
        found = [(event.id, event.what) for event in jobs.events(session, job.id)]
    assert found == [(1, "0"), (2, "1"), (3, "2"), (4, "3"), (5, "4"), (6, "x"), (7, "x"), (8, "x")]


def test_a_row_refers_to_its_own_farms_rows_only(tmp_path: Path) -> None:
    logs = _logs(tmp_path)
    with logs.shared[1].writing() as session:
        job = jobs.start(session, field="a", setup="b", sprayer="c", at=START, planned_s=1.0).id
    foreign = JobEvent(job_id=job, at=START, what="of another's job", detail={})
    with pytest.raises(IntegrityError), logs.shared[2].writing() as session:
        session.add(foreign)
    logs.close()


def test_a_question_that_cannot_be_kept_to_one_farm_is_refused(log: Database) -> None:
    with log.reading() as session:
        assert session.scalar(text("SELECT 1")) == 1
        with pytest.raises(TypeError, match="mapped classes"):
            session.execute(select(Observation.__table__))
        inner = select(Observation.time).subquery()
        assert session.scalar(select(func.count()).select_from(inner)) == 0


def test_a_log_without_that_farm_says_so(url: str, open_log: Callable[..., Database]) -> None:
    log = open_log(url)
    _add_farm(log, 2)
    for number in (1, 2):
        Database(url, farm=number).upgrade()
    with pytest.raises(UnknownFarmError, match=r"farm 3: it holds no farm of that number"):
        Database(url, farm=3).upgrade()
