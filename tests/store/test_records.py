"""Entries of records are added and never changed, whoever writes to the database."""

import threading
from collections.abc import Callable

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from tests.support import job_steps
from watcher.store import records
from watcher.store.database import Database
from watcher.store.tables import RecordEntry

NOW = 1_781_107_200
COLUMNS = sorted(RecordEntry.__table__.columns.keys())


def _entry(number: int, job: int = 1) -> RecordEntry:
    return RecordEntry(
        number=number,
        job_id=job,
        kind="told",
        at=NOW,
        by="tester",
        content="{}",
        previous=f"before {number}",
        hash=f"of {number}",
    )


@pytest.fixture
def filled(log: Database) -> Database:
    """A log with a job and two entries of its record."""
    with log.writing() as session:
        job_steps.started(
            session, field="hill", setup="fine", sprayer="boom", at=NOW, planned_s=600.0
        )
        records.add_entry(session, _entry(1))
        records.add_entry(session, _entry(2))
    return log


def _numbers(log: Database) -> list[int]:
    with log.reading() as session:
        return [entry.number for entry in records.entries(session)]


@pytest.mark.parametrize("column", COLUMNS)
def test_no_column_of_an_entry_can_be_updated(filled: Database, column: str) -> None:
    statement = text(f'UPDATE record_entry SET "{column}" = "{column}" WHERE number = 1')
    with pytest.raises(DBAPIError, match="append-only"), filled.writing() as session:
        session.execute(statement)


@pytest.mark.parametrize(
    "statement", ["DELETE FROM record_entry WHERE number = 2", "DELETE FROM record_entry"]
)
def test_entries_cannot_be_deleted(filled: Database, statement: str) -> None:
    with pytest.raises(DBAPIError, match="append-only"), filled.writing() as session:
        session.execute(text(statement))
    assert _numbers(filled) == [1, 2]


def test_an_entry_cannot_be_replaced_by_another(filled: Database, url: str) -> None:
    columns = "farm, number, job_id, kind, at, by, content, previous, hash"
    replace = text(
        f"INSERT OR REPLACE INTO record_entry ({columns}) "
        "VALUES (1, 2, 1, 'told', 0, 'x', '{}', 'other', 'other')"
    )
    upsert = text(
        f"INSERT INTO record_entry ({columns}) VALUES (1, 2, 1, 'told', 0, 'x', '{{}}', 'o', 'o') "
        "ON CONFLICT (farm, number) DO UPDATE SET by = 'x'"
    )
    with pytest.raises(DBAPIError, match="append-only"), filled.writing() as session:
        session.execute(replace if url.startswith("sqlite") else upsert)
    with filled.reading() as session:
        assert [entry.by for entry in records.entries(session)] == ["tester", "tester"]


def test_the_table_cannot_be_emptied_at_once_on_a_server(filled: Database) -> None:
    with pytest.raises(DBAPIError), filled.writing() as session:
        session.execute(text("TRUNCATE record_entry"))  # SQLite does not know the word
    assert _numbers(filled) == [1, 2]


def test_two_entries_cannot_follow_the_same_one(filled: Database) -> None:
    fork = _entry(3)
    fork.previous = "before 2"
    with pytest.raises(DBAPIError), filled.writing() as session:
        records.add_entry(session, fork)
    assert _numbers(filled) == [1, 2]


def test_a_second_writer_waits_until_the_first_has_added_its_entry(
    filled: Database, url: str, open_log: Callable[..., Database]
) -> None:
    other, found = open_log(url), []
    held = threading.Event()

    def newest(session: Session) -> int:
        entry = records.last_entry(session, hold=True)
        assert entry is not None
        return entry.number

    def second() -> None:
        assert held.wait(10)
        with other.writing() as session:
            found.append(newest(session))

    thread = threading.Thread(target=second)
    thread.start()
    with filled.writing() as session:
        assert newest(session) == 2
        held.set()
        records.add_entry(session, _entry(3))
    thread.join(10)
    assert found == [3]


def test_entries_of_one_job_are_told_apart(filled: Database) -> None:
    with filled.writing() as session:
        job_steps.started(
            session, field="creek", setup="fine", sprayer="old", at=NOW, planned_s=600.0
        )
        records.add_entry(session, _entry(3, job=2))
    with filled.reading() as session:
        assert [e.number for e in records.entries(session, 2)] == [3]
        assert records.recorded_jobs(session) == [1, 2]
