"""One running watch a farm: it holds a lock that goes with it, however it ends.

Two of them would judge and tell everything twice, and each would say of the other's runs that
nobody watched. Commands that only read or write (``watcher now``, ``watcher job``) need no lock.
"""

import contextlib
import fcntl
import json
import os
import secrets
import socket
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from watcher.store.database import Database
from watcher.store.errors import LogError, LogInUseError, LogUnreachableError, log_error
from watcher.store.farm_key import ALONE

_ROOM = 5_241_810  # any number nobody else locks in the same PostgreSQL database
# The first farm's is that of the versions before, which knew of no other.
_KEY = "hashtext(coalesce(current_schema(), '') || :farm)"
_TAKE = text(f"SELECT pg_try_advisory_lock({_ROOM}, {_KEY})")  # constants only
_HOLDER = text(
    f"""
    SELECT a.application_name, extract(epoch FROM a.backend_start)::bigint
    FROM pg_locks l JOIN pg_stat_activity a USING (pid)
    WHERE l.locktype = 'advisory' AND l.granted AND l.classid = {_ROOM}
      AND l.objid::bigint = ({_KEY}::bigint & 4294967295)
      AND l.database = (SELECT oid FROM pg_database WHERE datname = current_database())
    """  # noqa: S608  # constants only
)
# The server must notice within a minute that a holder's machine is gone: by default it takes hours.
_SETTINGS = {
    "tcp_keepalives_idle": "20",
    "tcp_keepalives_interval": "5",
    "tcp_keepalives_count": "4",
    "tcp_user_timeout": "40000",
}
_LONGEST_WHO = 54  # an application's name has 63 bytes


class RunningLock(Protocol):
    """The right to run on one farm's log."""

    def take(self) -> None:
        """Take it, or make sure that it is still held.

        Raises ``LogInUseError`` naming who holds it, ``LogError`` where that cannot be found out.
        """

    def release(self) -> None:
        """Let go of it, if it is held."""


def running_lock(log: Database) -> RunningLock:
    """Return the lock of a log, not yet taken."""
    path = log.beside("lock")
    return _ServerLock(log) if path is None else _FileLock(path, log.name)


class _FileLock:
    """The system's lock on a file beside the log, which is held by the process, not by a text.

    What is written in the file only says who that is. The file is never removed: somebody who
    waits for a removed one and somebody who makes it anew would both hold it.
    """

    def __init__(self, path: Path, name: str) -> None:
        self._path, self._name = path, name
        self._descriptor: int | None = None

    def take(self) -> None:
        if self._descriptor is not None:
            return
        try:
            descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise LogUnreachableError(
                f"the lock {self._path} of the log cannot be made ({error.strerror}); check that "
                "its folder exists, is ours and has room"
            ) from error
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = _written(descriptor)
            os.close(descriptor)
            raise _in_use(self._name, holder) from None
        self._descriptor = descriptor
        with contextlib.suppress(OSError):  # a full disk: held all the same, only not by name
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, _me().encode(), 0)

    def release(self) -> None:
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def _me() -> str:
    return json.dumps({"pid": os.getpid(), "host": socket.gethostname(), "since": int(time.time())})


def _written(descriptor: int) -> str:
    try:
        found = json.loads(os.pread(descriptor, 1000, 0))
        return _holder(f"process {int(found['pid'])} on {found['host']}", int(found["since"]))
    except (OSError, ValueError, KeyError, TypeError):
        return "a process that is not named there"


def _holder(who: str, since: int) -> str:
    return f"{who}, since {datetime.fromtimestamp(since, UTC):%Y-%m-%d %H:%M:%S} UTC"


def _in_use(name: str, holder: str) -> LogInUseError:
    return LogInUseError(
        f"the watch runs on the log {name} already: {holder}; stop that one first, or give this "
        "one a log of its own"
    )


class _ServerLock:
    """An advisory lock of PostgreSQL, which lives as long as the connection that took it."""

    def __init__(self, log: Database) -> None:
        self._log = log
        self._of_farm = {"farm": "" if log.farm == ALONE else f" farm {log.farm}"}
        self._connection: Connection | None = None
        self._turn = threading.Lock()
        # The last word tells our own earlier session from another copy, which in a container may
        # have the same number and even the same host's name.
        who = f"watch {os.getpid()} on {socket.gethostname()}"[:_LONGEST_WHO]
        self._me = f"{who} {secrets.token_hex(4)}"

    def take(self) -> None:
        with self._turn:
            try:
                self._take()
            except DBAPIError as error:
                self._drop()
                raise log_error(self._log.name, error) or error from error

    def release(self) -> None:
        with self._turn:
            self._drop()

    def _take(self) -> None:
        if self._connection is not None:
            try:
                self._connection.execute(text("SELECT 1"))
            except DBAPIError:
                self._drop()  # and with it went the lock: take it anew
            else:
                return
        self._connection = self._log.own_connection()
        for setting, value in _SETTINGS.items():
            self._set(setting, value)
        self._set("application_name", self._me)
        # A session whose client was killed a moment ago holds it until the server sees that.
        for wait_s in (0.0, 0.5, 0.5):
            time.sleep(wait_s)
            if self._connection.scalar(_TAKE, self._of_farm):
                return
        found = self._connection.execute(_HOLDER, self._of_farm).first()
        self._drop()
        if found is None or found[0] == self._me:
            raise LogUnreachableError(
                f"the lock of the log {self._log.name} is held by a session that has ended, and "
                "that its server does not know to have; it is let go of within a minute"
            )
        who = str(found[0]).replace("watch ", "process ", 1).rpartition(" ")[0]
        raise _in_use(self._log.name, who if found[1] is None else _holder(who, int(found[1])))

    def _set(self, setting: str, value: str) -> None:
        assert self._connection is not None  # noqa: S101  # only called where there is one
        self._connection.execute(
            text("SELECT set_config(:setting, :value, false)"),
            {"setting": setting, "value": value},
        )

    def _drop(self) -> None:
        if self._connection is not None:
            with contextlib.suppress(DBAPIError):
                self._connection.close()
            self._connection = None


@contextlib.contextmanager
def held(
    lock: RunningLock, lost: Callable[[LogInUseError], None], *, look_every_s: float = 5.0
) -> Iterator[None]:
    """Hold a lock until the end of the block, and look from time to time whether it is still ours.

    ``lost`` is called, in a thread of its own, when another copy has taken it while our connection
    was broken. A server that does not answer is asked again: nobody else can take it there either.
    """
    end = threading.Event()

    def look() -> None:
        while not end.wait(look_every_s):
            try:
                lock.take()
            except LogInUseError as error:
                lost(error)
                return
            except LogError:
                continue

    looking = threading.Thread(target=look, name="running lock", daemon=True)
    looking.start()
    try:
        yield
    finally:
        end.set()
        looking.join()
        lock.release()
