"""Entries in the log on both databases: written after each other, and every change to them seen."""

import sqlite3
import threading
from collections.abc import Callable

import pytest
from sqlalchemy import text

from tests.support import job_steps
from watcher.records import journal
from watcher.store.database import Database
from watcher.store.tables import RecordEntry, own_columns

NOW = 1_781_107_200
COLUMNS = own_columns(RecordEntry)
ENTRIES = 3
_SEALS = {
    "sqlite": [f"DROP TRIGGER record_entry_no_{what}" for what in ("update", "delete", "replace")],
    "postgresql": ["DROP TRIGGER record_entry_append_only ON record_entry"],
}


def write(log: Database, note: str, job: int = 1) -> None:
    with log.writing() as session:
        journal.write(
            session, job=job, kind="told", at=NOW, by="grower", content={"note": note, "wind": 2.5}
        )


@pytest.fixture
def filled(log: Database) -> Database:
    """A log with two jobs and three entries."""
    with log.writing() as session:
        for n in ("1", "2"):
            job_steps.started(session, field=n, setup="fine", sprayer=n, at=NOW, planned_s=600.0)
    for n in range(ENTRIES):
        write(log, f"Notiz Ü{n}", job=1 + n % 2)
    return log


def unseal(log: Database) -> None:
    """Take the triggers away, as whoever owns the database can."""
    with log.writing() as session:
        for statement in _SEALS[session.get_bind().dialect.name]:
            session.execute(text(statement))


def broken_at(log: Database, noted: str | None = None) -> int | None:
    with log.reading() as session:
        broken = journal.verify(session, noted).broken
    return None if broken is None else broken.number


def test_what_was_written_is_read_back_and_whole(filled: Database) -> None:
    with filled.reading() as session:
        verdict = journal.verify(session)
        notes = [entry.content["note"] for entry in journal.entries(session)]
        assert journal.head(session) is not None
    assert (verdict.count, verdict.broken) == (ENTRIES, None)
    assert notes == ["Notiz Ü0", "Notiz Ü1", "Notiz Ü2"]


def test_an_empty_log_has_a_whole_chain_of_nothing(log: Database) -> None:
    with log.reading() as session:
        verdict = journal.verify(session)
    assert (verdict.count, verdict.head, verdict.broken) == (0, None, None)


@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("number", range(1, ENTRIES + 1))
def test_a_changed_column_of_any_row_is_seen_and_the_row_named(
    filled: Database, column: str, number: int
) -> None:
    unseal(filled)
    # The job's number may only become that of another job.
    other = {"number": "number + 10", "job_id": "3 - job_id", "at": "at + 1"}.get(
        column, f"\"{column}\" || ' '"
    )
    with filled.writing() as session:
        session.execute(
            text(f'UPDATE record_entry SET "{column}" = {other} WHERE number = {number}')
        )
    assert broken_at(filled) == number


@pytest.mark.parametrize("number", range(1, ENTRIES))
def test_a_removed_row_is_seen_and_named(filled: Database, number: int) -> None:
    unseal(filled)
    with filled.writing() as session:
        session.execute(text(f"DELETE FROM record_entry WHERE number = {number}"))
    assert broken_at(filled) == number


def test_a_row_given_to_another_farm_is_a_removed_one(filled: Database) -> None:
    unseal(filled)
    with filled.writing() as session:
        session.execute(
            text("UPDATE record_entry SET farm = farm + 1, job_id = NULL WHERE number = 2")
        )
    assert broken_at(filled) == 2


def test_a_removed_last_row_is_seen_only_by_a_noted_head(filled: Database) -> None:
    with filled.reading() as session:
        head = journal.verify(session).head
    unseal(filled)
    with filled.writing() as session:
        session.execute(text(f"DELETE FROM record_entry WHERE number = {ENTRIES}"))
    assert broken_at(filled) is None
    assert broken_at(filled, noted=head) == ENTRIES - 1


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_any_byte_of_a_content_changed_in_the_file_is_seen(url: str, filled: Database) -> None:
    unseal(filled)
    connection = sqlite3.connect(url.removeprefix("sqlite:///"))
    query = "SELECT CAST(content AS BLOB) FROM record_entry WHERE number = 2"
    (content,) = connection.execute(query).fetchone()
    put = "UPDATE record_entry SET content = CAST(? AS TEXT) WHERE number = 2"
    for place in range(len(content)):
        for other in (content[place] ^ 1, 0xFF):  # another letter, and what is no text at all
            changed = content[:place] + bytes([other]) + content[place + 1 :]
            connection.execute(put, (changed,))
            connection.commit()
            assert broken_at(filled) == 2
    connection.execute(put, (content,))
    connection.commit()
    connection.close()
    assert broken_at(filled) is None


def test_writers_at_once_make_one_chain(
    filled: Database, url: str, open_log: Callable[..., Database]
) -> None:
    logs = [open_log(url) for _ in range(3)]
    start = threading.Barrier(len(logs))

    def work(log: Database, name: int) -> None:
        start.wait(10)
        for n in range(5):
            write(log, f"writer {name} note {n}")

    threads = [threading.Thread(target=work, args=(log, n)) for n, log in enumerate(logs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    with filled.reading() as session:
        verdict = journal.verify(session)
    assert (verdict.count, verdict.broken) == (ENTRIES + 15, None)
