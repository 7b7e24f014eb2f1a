"""Makes the so-manieth write, commit or send of a run fail, and only that one."""

import sqlite3
import threading
from collections import Counter
from collections.abc import Collection, Mapping
from http.server import BaseHTTPRequestHandler
from typing import Any

from sqlalchemy import event

from tests.support.receiver import Answer, closing_mid_body, garbage, status, unanswered
from watcher.store.database import Database

_ERRORS = (
    ("disk I/O error", sqlite3.SQLITE_IOERR),
    ("database or disk is full", sqlite3.SQLITE_FULL),
    ("database is locked", sqlite3.SQLITE_BUSY),
)
_ANSWERS: tuple[Answer, ...] = (status(500), garbage, status(429), unanswered, closing_mid_body)
_CHANGES = ("INSERT", "UPDATE", "DELETE")


class Strikes:
    """Counts the occasions of every kind, and says which of them are to fail. For any thread."""

    def __init__(self, wanted: Mapping[str, Collection[int]]) -> None:
        """``wanted`` are the numbers, from 1, of the occasions that fail, by kind."""
        self._wanted = wanted
        self._lock = threading.Lock()
        self.counts: Counter[str] = Counter()
        self.struck: list[tuple[str, int]] = []

    def number(self, kind: str) -> int:
        """Count one more occasion: its number if it is to fail, else 0."""
        with self._lock:
            self.counts[kind] += 1
            number = self.counts[kind]
            if number not in self._wanted.get(kind, ()):
                return 0
            self.struck.append((kind, number))
            return number

    def break_log(self, log: Database) -> None:
        """Let the log's connections fail as wanted. Before anything has used it."""

        def connect(_dialect: Any, _record: Any, _args: Any, named: dict[str, Any]) -> None:
            named["factory"] = _connection_of(self)

        event.listen(log._engine, "do_connect", connect)

    def answer(self, _request: BaseHTTPRequestHandler) -> Answer | None:
        """What a receiver answers the next message with; None: as always."""
        number = self.number("send")
        return _ANSWERS[number % len(_ANSWERS)] if number else None


def _error(number: int) -> sqlite3.OperationalError:
    text, code = _ERRORS[number % len(_ERRORS)]
    error = sqlite3.OperationalError(text)
    error.sqlite_errorcode = code
    return error


def _connection_of(strikes: Strikes) -> type[sqlite3.Connection]:
    def perhaps(kind: str) -> None:
        if number := strikes.number(kind):
            raise _error(number)

    class Cursor(sqlite3.Cursor):
        def execute(self, sql: str, *args: Any) -> Any:
            if sql.startswith(_CHANGES):
                perhaps("write")
            elif sql.startswith("BEGIN IMMEDIATE"):
                perhaps("begin")
            return super().execute(sql, *args)

        def executemany(self, sql: str, *args: Any) -> Any:
            perhaps("write")
            return super().executemany(sql, *args)

    class Connection(sqlite3.Connection):
        def cursor(self, _factory: Any = None) -> Any:
            return super().cursor(Cursor)

        def commit(self) -> None:
            perhaps("commit")
            super().commit()
            perhaps("answer to a commit")  # kept, but nobody is told so

    return Connection
