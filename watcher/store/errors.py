"""What can go wrong with the log, said without passwords and with what to do."""

import re
import sqlite3

from sqlalchemy.exc import DBAPIError

from watcher.i18n.message import say


class LogError(Exception):
    """The log cannot be used; the text says what, where and what to do."""


class UnknownJobError(LookupError):
    """There is no job of that number in it; the text says what to do."""

    def __init__(self, number: int) -> None:
        self.text = say(
            "there is no job {number}; list the jobs to see their numbers", number=number
        )
        super().__init__(self.text)


class LogSettingsError(LogError):
    """Trying again does not help: somebody must change how the watch is set up."""


class LogAddressError(LogSettingsError):
    """The log's address is not one this program can open."""


class LogRefusedError(LogSettingsError):
    """The server does not let us in."""


class LogInUseError(LogSettingsError):
    """Another copy of the watch runs on this log."""


class LogUnreachableError(LogError):
    """The file cannot be opened, read or written, or the server does not answer."""


class LogBusyError(LogError):
    """Another program held the log for longer than we wait."""


class LogDamagedError(LogError):
    """The file is not a database any more."""


class LogNewerError(LogSettingsError):
    """The log was written by a newer version of this program."""


class UnknownFarmError(LogSettingsError):
    """The log does not hold the farm it was opened for."""


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
_SERVER_CLASSES = {"08", "28", "3D", "53", "57", "58", "XX", None}
_HELD_STATES = {"55P03", "40P01"}  # no lock in time; a deadlock
# A connection that was refused has no SQLSTATE, only a text. In another language than English it
# counts as a server that cannot be reached: alerted, and tried again.
_REFUSED = re.compile(
    r'password authentication failed|no password supplied|role "[^"]*" does not exist'
    r"|no pg_hba\.conf entry"
)


def log_error(name: str, error: DBAPIError) -> LogError | None:
    """Return a database's error in our words, or None when it is about a statement of ours.

    ``name`` is the log's address without its password.
    """
    cause = error.orig
    if isinstance(cause, sqlite3.Error):
        primary = getattr(cause, "sqlite_errorcode", 0) & 0xFF
        kind, mend = _SQLITE.get(primary, (None, ""))
        return kind(f"the log {name} failed: {cause}; {mend}") if kind else None
    state = getattr(cause, "sqlstate", None)
    if state in _HELD_STATES:
        return LogBusyError(f"the log {name} is held by another program; find it and end it")
    if state is None and (refused := _REFUSED.search(str(cause))):
        return LogRefusedError(
            f"the log {name} failed: {refused[0]}; correct user and password in its address"
        )
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
