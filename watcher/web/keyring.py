"""What lets people in, kept beside the log: open sessions, one-time links, and one secret.

A small file of its own in the state folder, readable by its owner only: who is logged in belongs
to this machine and not into the farm's log. Of everything that opens a door only a hash is kept.
"""

import hashlib
import hmac
import secrets
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pydantic import SecretStr

from watcher.web.access import Role, User

IDLE_S = 30 * 86_400
"""A session that nobody used for so long is over."""
LINK_S = 600
"""So long a one-time link is good for."""
_NOTED_EVERY_S = 60

_TABLES = """
CREATE TABLE IF NOT EXISTS secret (bytes BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS session (
  id INTEGER PRIMARY KEY AUTOINCREMENT, hash TEXT NOT NULL UNIQUE, name TEXT NOT NULL,
  role INTEGER NOT NULL, by_link INTEGER NOT NULL, began_at INTEGER NOT NULL,
  seen_at INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS link (
  hash TEXT PRIMARY KEY, name TEXT NOT NULL, role INTEGER NOT NULL, until INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS push (
  endpoint TEXT PRIMARY KEY, keys TEXT NOT NULL, session INTEGER NOT NULL
    REFERENCES session (id) ON DELETE CASCADE);
"""


@dataclass(frozen=True)
class Session:
    """One device that is logged in. Times are epoch seconds."""

    number: int
    user: User
    by_link: bool
    """Let in by a one-time link: its role is the link's, not the settings'."""
    began_at: int
    seen_at: int


@dataclass(frozen=True)
class Subscription:
    """A device that takes pushes: the address of its push service, and its keys as JSON."""

    endpoint: str
    keys: str


class Keyring:
    """The file of sessions and links. Safe to use from many threads and processes."""

    def __init__(self, file: Path | None) -> None:
        """Open the file, made if it is not there; None keeps everything in memory only."""
        if file is not None and not file.exists():
            file.touch(mode=0o600)
        self._lock = threading.Lock()
        self._file = sqlite3.connect(file or ":memory:", timeout=10.0, check_same_thread=False)
        self._file.execute("PRAGMA foreign_keys=ON")
        self._file.executescript(_TABLES)
        self.secret = self._make_secret()

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def secret_for(self, purpose: str) -> SecretStr:
        """Return a secret for one purpose, which tells nothing about those for others."""
        return SecretStr(hmac.new(self.secret, purpose.encode(), hashlib.sha256).hexdigest())

    def open(self, user: User, now: int, *, by_link: bool) -> str:
        """Log a user in; returns the token that the device shows from now on."""
        token = secrets.token_urlsafe(32)
        with self._writing() as file:
            file.execute("DELETE FROM session WHERE seen_at < ?", (now - IDLE_S,))
            file.execute(
                "INSERT INTO session (hash, name, role, by_link, began_at, seen_at) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (_hash(token), user.name, user.role, by_link, now, now),
            )
        return token

    def session(self, token: str, now: int) -> Session | None:
        """Return the session a token stands for, and note that it is in use."""
        with self._lock:
            row = self._file.execute(
                "SELECT id, name, role, by_link, began_at, seen_at FROM session "
                "WHERE hash = ? AND seen_at >= ?",
                (_hash(token), now - IDLE_S),
            ).fetchone()
        if row is None:
            return None
        session = _session(row)
        if now - session.seen_at >= _NOTED_EVERY_S:
            with self._writing() as file:
                file.execute("UPDATE session SET seen_at = ? WHERE id = ?", (now, session.number))
        return session

    def sessions(self, now: int) -> list[Session]:
        """Return every open session, the one used last first."""
        with self._lock:
            rows = self._file.execute(
                "SELECT id, name, role, by_link, began_at, seen_at FROM session "
                "WHERE seen_at >= ? ORDER BY seen_at DESC, id DESC",
                (now - IDLE_S,),
            ).fetchall()
        return [_session(row) for row in rows]

    def shut(self, number: int) -> bool:
        """End a session, wherever its device is; returns whether there was one."""
        with self._writing() as file:
            return file.execute("DELETE FROM session WHERE id = ?", (number,)).rowcount > 0

    def make_link(self, user: User, now: int) -> str:
        """Return the token of a link that lets a device in once, as that user."""
        token = secrets.token_urlsafe(24)
        with self._writing() as file:
            file.execute("DELETE FROM link WHERE until < ?", (now,))
            file.execute(
                "INSERT INTO link VALUES (?, ?, ?, ?)",
                (_hash(token), user.name, user.role, now + LINK_S),
            )
        return token

    def use_link(self, token: str, now: int) -> User | None:
        """Return whom a link lets in, and use it up; None for one used, too old or never made."""
        with self._writing() as file:
            row = file.execute(
                "DELETE FROM link WHERE hash = ? RETURNING name, role, until", (_hash(token),)
            ).fetchone()
        return User(row[0], Role(row[1])) if row and row[2] >= now else None

    def subscribe(self, session: int, device: Subscription) -> None:
        """Keep where a device takes pushes, for as long as its session is open."""
        with self._writing() as file:
            file.execute(
                "INSERT OR REPLACE INTO push VALUES (?, ?, ?)",
                (device.endpoint, device.keys, session),
            )

    def unsubscribe(self, endpoint: str) -> None:
        """Forget a device that takes pushes."""
        with self._writing() as file:
            file.execute("DELETE FROM push WHERE endpoint = ?", (endpoint,))

    def subscriptions(self) -> list[Subscription]:
        """Return every device that takes pushes."""
        with self._lock:
            rows = self._file.execute("SELECT endpoint, keys FROM push").fetchall()
        return [Subscription(*row) for row in rows]

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._lock, self._file:
            yield self._file

    def _make_secret(self) -> bytes:
        with self._writing() as file:
            file.execute(
                "INSERT INTO secret SELECT ? WHERE NOT EXISTS (SELECT 1 FROM secret)",
                (secrets.token_bytes(32),),
            )
            return bytes(file.execute("SELECT bytes FROM secret").fetchone()[0])


def _hash(token: str) -> str:
    # The tokens are random and long: a plain hash of one says nothing about it.
    return hashlib.sha256(token.encode()).hexdigest()


def _session(row: tuple[int, str, int, int, int, int]) -> Session:
    number, name, role, by_link, began_at, seen_at = row
    return Session(number, User(name, Role(role)), bool(by_link), began_at, seen_at)
