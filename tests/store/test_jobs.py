"""Jobs in the log: one open a field and a sprayer, found by number and time."""

import threading
from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session

from watcher.store import jobs
from watcher.store.database import Database
from watcher.store.errors import UnknownJobError
from watcher.store.jobs import JobConflictError
from watcher.store.tables import Job

NOW = 1_700_000_000


def start(session: Session, field: str = "north", sprayer: str = "boom", at: int = NOW) -> Job:
    return jobs.start(
        session, field=field, setup="coarse", sprayer=sprayer, at=at, planned_s=5400.0
    )


def test_a_started_job_is_running_and_open(log: Database) -> None:
    with log.writing() as session:
        number = start(session).id
    with log.reading() as session:
        [job] = jobs.open_jobs(session)
        assert (job.id, job.field, job.setup, job.sprayer) == (number, "north", "coarse", "boom")
        assert (job.state, job.started_at, job.planned_s) == ("running", NOW, 5400.0)
        assert (job.paused_s, job.paused_at, job.ended_at) == (0, None, None)


@pytest.mark.parametrize(
    ("field", "sprayer", "said"),
    [
        ("north", "second boom", "field north is in job 1 on north"),
        ("south", "boom", "sprayer boom is in job 1 on north"),
    ],
)
def test_a_second_open_job_is_refused(log: Database, field: str, sprayer: str, said: str) -> None:
    with log.writing() as session:
        start(session)
    with log.writing() as session, pytest.raises(JobConflictError, match=said):
        start(session, field, sprayer)
    with log.reading() as session:
        assert len(jobs.open_jobs(session)) == 1


def test_two_starters_at_once_get_one_job(
    log: Database, url: str, open_log: Callable[..., Database]
) -> None:
    outcomes: list[str] = []
    both_ready = threading.Barrier(2)

    def starter(own: Database) -> None:
        both_ready.wait()
        try:
            with own.writing() as session:
                start(session)
            outcomes.append("started")
        except JobConflictError:
            outcomes.append("refused")

    starters = [threading.Thread(target=starter, args=(open_log(url),)) for _ in range(2)]
    for thread in starters:
        thread.start()
    for thread in starters:
        thread.join()
    assert sorted(outcomes) == ["refused", "started"]


def test_a_job_that_is_not_there_is_said_so(log: Database) -> None:
    with log.writing() as session, pytest.raises(UnknownJobError, match="no job 7"):
        jobs.job(session, 7)


def test_past_jobs_are_found_by_when_they_started(log: Database) -> None:
    with log.writing() as session:
        for day in range(3):
            start(session, at=NOW + day * 86400).ended_at = NOW + day * 86400 + 1
    with log.reading() as session:
        found = jobs.past_jobs(session, NOW + 86400, NOW + 2 * 86400)
        assert [job.started_at for job in found] == [NOW + 86400]
