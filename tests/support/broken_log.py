"""A SQLite log that is full, read-only or held by somebody else, for as long as a test wants."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, event, text

from watcher.store.database import Database


class Breakable:
    """A log that can be broken while others use it.

    The listener is there from the start: one added later could be added while another thread goes
    through the listeners, which then fails in that thread.
    """

    def __init__(self, log: Database) -> None:
        self._log = log
        self._pragma = ""
        event.listen(log._engine, "begin", self._break)

    @contextmanager
    def full(self) -> Iterator[None]:
        """No page can be added any more: what the database says when its disk is full."""
        with self._each_transaction_with("max_page_count=1"):  # SQLite keeps what is there
            yield

    @contextmanager
    def read_only(self) -> Iterator[None]:
        """Nothing can be written."""
        with self._each_transaction_with("query_only=ON"):
            yield

    @contextmanager
    def _each_transaction_with(self, pragma: str) -> Iterator[None]:
        self._pragma = pragma
        try:
            yield
        finally:
            self._pragma = ""
            self._log._engine.dispose()

    def _break(self, connection: Connection) -> None:
        if self._pragma:
            connection.exec_driver_sql(f"PRAGMA {self._pragma}")


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Another program, such as a backup, holds the file."""
    other = Database(f"sqlite:///{path}")
    with other.writing() as session:
        session.execute(text("SELECT 1"))  # nothing is held before the first statement
        yield
    other.close()
