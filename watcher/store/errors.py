"""What can go wrong with the log itself, told without passwords and with what to do."""

import sqlite3

from sqlalchemy.exc import DBAPIError


class LogError(Exception):
    """The log cannot be used; the text says what, where and what to do."""


class LogAddressError(LogError):
    """The log's address is not one this program can open."""


class LogUnreachableError(LogError):
    """The file cannot be opened, read or written, or the server does not answer."""


class LogBusyError(LogError):
    """Another program held the log for longer than we wait."""


class LogDamagedError(LogError):
    """The file is not a database any more."""


class LogNewerError(LogError):
    """The log was written by a newer version of this program."""


RESTORE = "stop the watch, keep a copy of the file, and restore a backup"
_SQLITE: dict[int, tuple[type[LogError], str]] = {
    sqlite3.SQLITE_BUSY: (LogBusyError, "find the program that holds it (a backup?) and end it"),
    sqlite3.SQLITE_LOCKED: (LogBusyError, "find the program that holds it and end it"),
    sqlite3.SQLITE_CORRUPT: (LogDamagedError, RESTORE),
    sqlite3.SQLITE_NOTADB: (LogDamagedError, RESTORE),
    sqlite3.SQLITE_FULL: (LogUnreachableError, "free space on its disk"),
    sqlite3.SQLITE_IOERR: (LogUnreachableError, "check its disk and free space"),
    sqlite3.SQLITE_CANTOPEN: (LogUnreachableError, "check that its folder exists and is ours"),
    sqlite3.SQLITE_PERM: (LogUnreachableError, "check who may read and write it"),
    sqlite3.SQLITE_READONLY: (LogUnreachableError, "check who may write it and its folder"),
}
# Classes of SQLSTATE (PostgreSQL, appendix "Error Codes") that are about the server, not about
# what was asked of it. No state at all: the connection was never made or has broken.
_SERVER_CLASSES = {"08", "28", "3D", "53", "57", "58", None}
_LOCK_NOT_AVAILABLE = "55P03"


def told(name: str, error: DBAPIError) -> LogError | None:
    """Return a database's error in our words, or None when it is about a statement of ours.

    ``name`` is the log's address without its password.
    """
    cause = error.orig
    if isinstance(cause, sqlite3.Error):
        primary = getattr(cause, "sqlite_errorcode", 0) & 0xFF
        kind, mend = _SQLITE.get(primary, (None, ""))
        return kind(f"the log {name} failed: {cause}; {mend}") if kind else None
    state = getattr(cause, "sqlstate", None)
    if state == _LOCK_NOT_AVAILABLE:
        return LogBusyError(f"the log {name} is held by another program; find it and end it")
    if _is_the_servers(error, state):
        return LogUnreachableError(
            f"the log {name} failed: {_first_line(cause)}; check its server and address"
        )
    return None


def _is_the_servers(error: DBAPIError, state: str | None) -> bool:
    if state is None:
        return type(error).__name__ in {"OperationalError", "InterfaceError"}
    return state[:2] in _SERVER_CLASSES


def _first_line(cause: BaseException | None) -> str:
    return str(cause).strip().partition("\n")[0]
