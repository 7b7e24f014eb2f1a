"""A spraying job's life, and what may not happen to it."""

import threading
from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session

from watcher.store import jobs
from watcher.store.database import Log
from watcher.store.jobs import JobConflictError, UnknownJobError
from watcher.store.tables import Job

NOW = 1_700_000_000


def start(session: Session, field: str = "north", sprayer: str = "boom", at: int = NOW) -> Job:
    return jobs.start(
        session, field=field, setup="coarse", sprayer=sprayer, at=at, planned_s=5400.0
    )


def test_a_started_job_is_running_and_open(log: Log) -> None:
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
def test_a_second_open_job_is_refused(log: Log, field: str, sprayer: str, said: str) -> None:
    with log.writing() as session:
        start(session)
    with log.writing() as session, pytest.raises(JobConflictError, match=said):
        start(session, field, sprayer)
    with log.reading() as session:
        assert len(jobs.open_jobs(session)) == 1


def test_a_paused_job_still_holds_its_field(log: Log) -> None:
    with log.writing() as session:
        jobs.pause(session, start(session).id, NOW + 60)
        with pytest.raises(JobConflictError, match="which is paused"):
            start(session, sprayer="second boom")


@pytest.mark.parametrize("end", [jobs.finish, jobs.abandon])
def test_an_ended_job_frees_field_and_sprayer(log: Log, end: Callable[..., Job]) -> None:
    with log.writing() as session:
        first = end(session, start(session).id, NOW + 600)
        second = start(session, at=NOW + 700)
        assert jobs.open_jobs(session) == [second]
        assert first.ended_at == NOW + 600


def test_two_starters_at_once_get_one_job(log: Log, url: str, open_log: Callable[..., Log]) -> None:
    told: list[str] = []
    both_ready = threading.Barrier(2)

    def starter(own: Log) -> None:
        both_ready.wait()
        try:
            with own.writing() as session:
                start(session)
            told.append("started")
        except JobConflictError:
            told.append("refused")

    starters = [threading.Thread(target=starter, args=(open_log(url),)) for _ in range(2)]
    for thread in starters:
        thread.start()
    for thread in starters:
        thread.join()
    assert sorted(told) == ["refused", "started"]


def test_pauses_add_up(log: Log) -> None:
    with log.writing() as session:
        number = start(session).id
        jobs.pause(session, number, NOW + 100, "gusts")
        assert jobs.resume(session, number, NOW + 160).paused_at is None
        jobs.pause(session, number, NOW + 200)
        job = jobs.finish(session, number, NOW + 230)  # ends the pause too
        assert (job.paused_s, job.paused_at, job.state) == (90, None, "finished")


def test_a_clock_set_back_does_not_make_a_pause_negative(log: Log) -> None:
    with log.writing() as session:
        number = start(session).id
        jobs.pause(session, number, NOW + 100)
        assert jobs.resume(session, number, NOW - 3600).paused_s == 0


def test_every_step_is_kept_in_order(log: Log) -> None:
    with log.writing() as session:
        number = start(session).id
        jobs.pause(session, number, NOW + 1, "gusts")
        jobs.change_setup(session, number, "very coarse", NOW + 2)
        jobs.resume(session, number, NOW + 3)
        jobs.abandon(session, number, NOW + 4, "rain")
    with log.reading() as session:
        assert jobs.job(session, number).setup == "very coarse"
        assert [(e.at, e.what, e.detail) for e in jobs.events(session, number)] == [
            (NOW, "started", {"setup": "coarse", "sprayer": "boom"}),
            (NOW + 1, "paused", {"why": "gusts"}),
            (NOW + 2, "setup changed", {"from": "coarse", "to": "very coarse"}),
            (NOW + 3, "resumed", {}),
            (NOW + 4, "abandoned", {"note": "rain"}),
        ]


def test_notes_of_start_and_end_are_both_kept(log: Log) -> None:
    with log.writing() as session:
        job = jobs.start(
            session, field="n", setup="s", sprayer="b", at=NOW, planned_s=1.0, note="east half"
        )
        assert jobs.finish(session, job.id, NOW + 1, "dry").note == "east half\ndry"


def test_steps_that_do_not_fit_are_refused_and_say_why(log: Log) -> None:
    with log.writing() as session:
        number = start(session).id
        with pytest.raises(JobConflictError, match="cannot resume job 1 on north: it is running"):
            jobs.resume(session, number, NOW)
        jobs.pause(session, number, NOW)
        with pytest.raises(JobConflictError, match="cannot pause job 1 on north: it is paused"):
            jobs.pause(session, number, NOW)
        jobs.finish(session, number, NOW)
        for late in (jobs.finish, jobs.abandon, jobs.pause, jobs.resume):
            with pytest.raises(JobConflictError, match="it is finished"):
                late(session, number, NOW)  # type: ignore[operator]
        with pytest.raises(JobConflictError, match="cannot change the setup"):
            jobs.change_setup(session, number, "fine", NOW)


def test_a_job_that_is_not_there_is_said_so(log: Log) -> None:
    with log.writing() as session, pytest.raises(UnknownJobError, match="no job 7"):
        jobs.finish(session, 7, NOW)


def test_past_jobs_are_found_by_when_they_started(log: Log) -> None:
    with log.writing() as session:
        for day in range(3):
            jobs.finish(session, start(session, at=NOW + day * 86400).id, NOW + day * 86400 + 1)
    with log.reading() as session:
        found = jobs.past_jobs(session, NOW + 86400, NOW + 2 * 86400)
        assert [job.started_at for job in found] == [NOW + 86400]
