"""Two farms with equal names in one log behave as if each had the log to itself."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, insert, select, text
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from tests.support.farm_steps import (
    START,
    STEPS,
    condition,
    forecast,
    job,
    message,
    readings,
    run,
    shift,
    source,
    tend,
)
from tests.support.new_log import new_log
from watcher.store import (
    handover,
    jobs,
    outbox,
    runs,
)
from watcher.store.database import Database
from watcher.store.errors import UnknownFarmError, UnknownJobError
from watcher.store.tables import (
    Farm,
    FarmTable,
    JobEvent,
    Observation,
    own_columns,
)


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
    for step in sorted(STEPS, key=lambda step: step not in (tend, shift)):
        with logs.shared[1].writing() as session:
            step(session, START, 3.0)
    with logs.shared[1].writing() as session:
        tend(session, START, 1.0)
        readings(session, START, 2.0)
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
            for step in (readings, forecast, job, message, condition, run, source):
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
        open_log(url, farm=number).upgrade()
    with pytest.raises(UnknownFarmError, match=r"farm 3: it holds no farm of that number"):
        open_log(url, farm=3).upgrade()
