"""A small log in memory that stands in for the log while that cannot be used.

It has the same tables, so that the same program runs on it. What it holds can be kept in a file
(``kept_file.py``): whole, as it was between two transactions, so that it outlives the process.
"""

import sqlite3
import threading
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import cast

from sqlalchemy import create_engine, event
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from watcher.store import issue_hours, migrations
from watcher.store.database import Database, _begin_in_file
from watcher.store.farm_key import ALONE, FARM
from watcher.store.tables import Table

_TURN_S = 5.0
_PACKED = 1  # the quickest: what is kept is written often


class StandbyLog(Database):
    """A log in memory, with its tables made. Safe to use from many threads, one at a time."""

    def __init__(self) -> None:
        # Not Log's own beginning: that is for what lasts, and refuses memory.
        self._busy_s, self._lasting = _TURN_S, False
        self._file = Path("standby")
        self.name, self.farm = "in memory", ALONE
        self._turn = threading.Lock()
        self._info = issue_hours.holding()
        self._engine = create_engine(
            "sqlite+pysqlite://",
            hide_parameters=True,
            poolclass=StaticPool,
            connect_args={"check_same_thread": False},
            execution_options={FARM: ALONE},
        )
        event.listen(self._engine, "connect", _set_up)
        event.listen(self._engine, "begin", _begin_in_file)
        self._writer = self._engine.execution_options(begin="IMMEDIATE")
        self._reader = self._engine.execution_options(begin="DEFERRED")
        with self.writing() as session:
            Table.metadata.create_all(session.connection())

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Yield a session that cannot change anything. There is one connection: it takes turns."""
        with self._own_turn(), self._transaction(self._reader) as session:
            yield session

    def upgrade(self) -> None:
        """Do nothing: the tables are of this version."""

    def check(self) -> None:
        """Do nothing: there is no file."""

    def packed(self) -> bytes:
        """Return all it holds, as it is between two transactions."""
        with self._own_turn():
            return _version() + zlib.compress(self._connection().serialize(), _PACKED)

    def changes(self) -> int:
        """Return how many rows were ever changed: the same number means the same content."""
        with self._own_turn():
            return self._connection().total_changes

    def unpack(self, kept: bytes) -> bool:
        """Hold what was packed, in place of what it holds; False, and no change, if it cannot.

        What another version of the tables packed cannot be held.
        """
        version = _version()
        if not kept.startswith(version):
            return False
        try:
            data = zlib.decompress(kept.removeprefix(version))
        except zlib.error:
            return False
        with self._own_turn():
            self._connection().deserialize(data)
        return True

    def _connection(self) -> sqlite3.Connection:
        raw = self._engine.raw_connection()
        try:
            return cast("sqlite3.Connection", raw.driver_connection)
        finally:
            raw.close()  # gives it back: the pool has this one connection only


def _set_up(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA temp_store=MEMORY")


def _version() -> bytes:
    return f"{migrations.HEAD}\n".encode()
