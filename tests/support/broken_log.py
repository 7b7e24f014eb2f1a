"""A SQLite log that is full, read-only or held by somebody else, for as long as a test wants."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, event, text

from watcher.store.database import Log


@contextmanager
def full(log: Log) -> Iterator[None]:
    """No page can be added any more: what the database says when its disk is full."""
    with _each_transaction_with(log, "max_page_count=1"):  # SQLite keeps at least what is there
        yield


@contextmanager
def read_only(log: Log) -> Iterator[None]:
    """Nothing can be written."""
    with _each_transaction_with(log, "query_only=ON"):
        yield


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Another program, such as a backup, holds the file."""
    other = Log(f"sqlite:///{path}")
    with other.writing() as session:
        session.execute(text("SELECT 1"))  # nothing is held before the first statement
        yield
    other.close()


@contextmanager
def _each_transaction_with(log: Log, pragma: str) -> Iterator[None]:
    def break_it(connection: Connection) -> None:
        connection.exec_driver_sql(f"PRAGMA {pragma}")

    engine = log._engine
    event.listen(engine, "begin", break_it)
    try:
        yield
    finally:
        event.remove(engine, "begin", break_it)
        engine.dispose()
