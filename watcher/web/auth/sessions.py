"""What lets people in, kept beside the log: open sessions, one-time links, and one secret.

A small file of its own in the state folder, readable by its owner only: who is logged in belongs
to this machine and not into the farm's log. Of everything that opens a door only a hash is kept.
"""

import hashlib
import hmac
import secrets
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pydantic import SecretStr

from watcher.delivery.addressees import Subscription
from watcher.web.auth.users import Role, User
from watcher.web.log_throttle import LogThrottle

IDLE_S = 30 * 86_400
"""A session that nobody used for so long is over."""
LINK_S = 600
"""So long a one-time link is good for."""
GUEST_LINK_S = 86_400
"""So long a link to an access with an end is good for: it is sent to somebody who is elsewhere."""
MOST_CALENDARS_OF_ONE = 8
"""Addresses that calendars of one user read at. With one more, the oldest goes."""
MOST_PUSHED_OF_ONE, MOST_PUSHED = 8, 64
"""Devices that take pushes: of one user and in all. With one more, the oldest goes."""
_NOTED_EVERY_S = 60
_SECRET_BYTES = 32
_BUSY_S = 3.0

_TABLES = """
CREATE TABLE secret (bytes BLOB NOT NULL);
CREATE TABLE session (
  id INTEGER PRIMARY KEY AUTOINCREMENT, hash TEXT NOT NULL UNIQUE, name TEXT NOT NULL,
  role INTEGER NOT NULL, by_link INTEGER NOT NULL, began_at INTEGER NOT NULL,
  seen_at INTEGER NOT NULL);
CREATE TABLE link (
  hash TEXT PRIMARY KEY, name TEXT NOT NULL, role INTEGER NOT NULL, until INTEGER NOT NULL);
CREATE TABLE push (
  endpoint TEXT PRIMARY KEY, keys TEXT NOT NULL, session INTEGER NOT NULL
    REFERENCES session (id) ON DELETE CASCADE,
  language TEXT NOT NULL DEFAULT '', ended TEXT);
"""
_CALENDARS = """
CREATE TABLE IF NOT EXISTS calendar (
  id TEXT PRIMARY KEY, name TEXT NOT NULL, made_at INTEGER NOT NULL, read_at INTEGER);
"""
_GUESTS = """
CREATE TABLE IF NOT EXISTS guest (
  id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, role INTEGER NOT NULL,
  until INTEGER NOT NULL, made_at INTEGER NOT NULL, made_by TEXT NOT NULL,
  withdrawn_by TEXT);
"""
"""Which files from before do not have either."""
_LATER = {
    "push": {"language": "TEXT NOT NULL DEFAULT ''", "ended": "TEXT"},
    "session": {"guest": "INTEGER"},
    "link": {"guest": "INTEGER"},
    "calendar": {"guest": "INTEGER"},
}
"""Columns that files from before do not have. ``ended`` says why a device takes no more pushes,
NULL while it does; ``guest`` is whose access ends this, NULL for what has no end."""
_FOREVER = 2**62

_SESSIONS = (
    "SELECT session.id, session.name, min(session.role, coalesce(guest.role, session.role)), "
    "session.by_link, session.began_at, session.seen_at, session.guest, guest.until "
    "FROM session LEFT JOIN guest ON guest.id = session.guest"
)
_DEVICES = (
    "SELECT push.endpoint, push.keys, push.language, session.name, push.ended, guest.until "
    "FROM push JOIN session ON session.id = push.session "
    "LEFT JOIN guest ON guest.id = session.guest"
)
_GUEST_ROWS = "SELECT id, name, role, until, made_at, made_by, withdrawn_by FROM guest"


class SessionStoreError(Exception):
    """The file of sessions cannot be used; the text says why, and what to do about it."""


class SessionStoreDamagedError(SessionStoreError):
    """The file is none of sessions, or not any more."""


@dataclass(frozen=True)
class Session:
    """One device that is logged in. Times are epoch seconds."""

    number: int
    user: User
    by_link: bool
    """Let in by a one-time link: its role is the link's, not the settings'."""
    began_at: int
    seen_at: int
    until: int | None = None
    """When its access ends; None: not by itself."""

    def over(self, now: int) -> bool:
        """Return whether its access has ended."""
        return self.until is not None and self.until <= now


@dataclass(frozen=True)
class Guest:
    """Somebody with an access that has an end. Times are epoch seconds."""

    number: int
    name: str
    role: Role
    until: int
    made_at: int
    made_by: str
    withdrawn_by: str | None
    """Who ended it before its time; None: nobody."""

    def over(self, now: int) -> bool:
        """Return whether the access has ended."""
        return self.until <= now


@dataclass(frozen=True)
class CalendarFeed:
    """An address that a calendar reads the plan at, for a user. Times are epoch seconds."""

    id: str
    made_at: int
    read_at: int | None
    """When it was last read; None: never."""


class SessionStore:
    """The file of sessions and links. Safe to use from many threads and processes.

    Every method raises SessionStoreError where the file fails, but ``session``: who is logged in
    stays so while the file can be read.
    """

    def __init__(
        self, file: Path | None, *, now: Callable[[], int] = lambda: int(time.time())
    ) -> None:
        """Open the file, made if it is not there; None keeps everything in memory only.

        ``now`` tells the time by which the devices of an access end with it. Raises
        SessionStoreError, SessionStoreDamagedError for a file that holds something else.
        """
        self.name = str(file) if file is not None else "in memory"
        self._now = now
        self._devices: Mapping[str, tuple[Subscription, int]] = {}
        """The devices that take pushes and until when, by name: read anew after every change, for
        alerts ask for them and must not wait for a file. Only this process changes them."""
        self._lock = threading.Lock()
        self._throttled = LogThrottle()
        with self._failing():
            try:
                if file is not None and not file.exists():
                    file.touch(mode=0o600)
            except OSError as error:
                raise sqlite3.OperationalError(error.strerror) from error
            self._file = sqlite3.connect(
                file or ":memory:", timeout=_BUSY_S, check_same_thread=False
            )
            try:
                self._file.execute("PRAGMA foreign_keys=ON")
                self._make_tables()
                self.secret = self._make_secret()
                self._check()
                self._read_devices()
            except BaseException:
                self._file.close()
                raise

    @property
    def devices(self) -> Mapping[str, Subscription]:
        """The devices that take pushes now, by name."""
        now = self._now()
        return {name: device for name, (device, until) in self._devices.items() if until > now}

    def was_shut_out(self, device: str) -> bool:
        """Return whether a device takes no pushes any more because its access ended."""
        known = self._devices.get(device)
        return known is not None and known[1] <= self._now()

    @classmethod
    def copy_of(cls, file: Path, *, now: Callable[[], int]) -> "SessionStore":
        """Return what a file holds that can be read but not written, in memory from now on.

        Raises SessionStoreError where it cannot be read either.
        """
        copy = cls(None, now=now)
        copy.name = f"{file} (a copy in memory)"
        with copy._failing():
            kept = sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
            try:
                kept.backup(copy._file)
            finally:
                kept.close()
            copy._make_tables()
            copy.secret = copy._make_secret()
            copy._check()
            copy._read_devices()
        return copy

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
            self._read_devices()
            file.execute(
                "INSERT INTO session (hash, name, role, by_link, began_at, seen_at, guest) "
                "VALUES (?, ?, ?, ?, ?, ?, ?)",
                (_hash(token), user.name, user.role, by_link, now, now, user.guest),
            )
        return token

    def session(self, token: str, now: int) -> Session | None:
        """Return the session a token stands for, and note that it is in use.

        One whose access has ended is still returned, so that its device can be answered.
        """
        with self._reading() as file:
            row = file.execute(
                f"{_SESSIONS} WHERE session.hash = ? AND session.seen_at >= ?",
                (_hash(token), now - IDLE_S),
            ).fetchone()
        if row is None:
            return None
        session = _session(row)
        if now - session.seen_at >= _NOTED_EVERY_S and not session.over(now):
            try:
                with self._writing() as file:
                    file.execute(
                        "UPDATE session SET seen_at = ? WHERE id = ?", (now, session.number)
                    )
            except SessionStoreError as error:
                self._throttled.warn("the use of a session is not noted", why=str(error))
        return session

    def sessions(self, now: int) -> list[Session]:
        """Return every open session, the one used last first."""
        with self._reading() as file:
            rows = file.execute(
                f"{_SESSIONS} WHERE session.seen_at >= ? "
                "ORDER BY session.seen_at DESC, session.id DESC",
                (now - IDLE_S,),
            ).fetchall()
        return [one for one in map(_session, rows) if not one.over(now)]

    def shut(self, number: int) -> bool:
        """End a session, wherever its device is; returns whether there was one."""
        with self._writing() as file:
            found = file.execute("DELETE FROM session WHERE id = ?", (number,)).rowcount > 0
            self._read_devices()
            return found

    def make_link(self, user: User, now: int) -> str:
        """Return the token of a link that lets a device in once, as that user."""
        with self._writing() as file:
            return _new_link(file, user, now, now + LINK_S)

    def use_link(self, token: str, now: int) -> User | None:
        """Return whom a link lets in, and use it up; None for one used, too old or never made."""
        with self._writing() as file:
            row = file.execute(
                "DELETE FROM link WHERE hash = ? RETURNING name, role, until, guest",
                (_hash(token),),
            ).fetchone()
            if row is None or row[2] < now:
                return None
            guest = _guest(file, row[3])
        if guest is not None and guest.over(now):
            return None
        return User(row[0], Role(row[1]), row[3])

    def invite(self, name: str, role: Role, until: int, *, by: User, now: int) -> Guest:
        """Give somebody an access that ends. What is left of ended ones goes."""
        with self._writing() as file:
            file.execute(
                "DELETE FROM calendar WHERE guest IN (SELECT id FROM guest WHERE until <= ?)",
                (now,),
            )
            file.execute("DELETE FROM guest WHERE until < ?", (now - IDLE_S,))
            number = file.execute(
                "INSERT INTO guest (name, role, until, made_at, made_by) VALUES (?, ?, ?, ?, ?)",
                (name, role, until, now, by.name),
            ).lastrowid
            return Guest(number or 0, name, role, until, now, by.name, None)

    def guest(self, number: int | None) -> Guest | None:
        """Return somebody with an access that ends, or ended; None for nobody of that number."""
        with self._reading() as file:
            return _guest(file, number)

    def guests(self) -> list[Guest]:
        """Return everybody whose access has an end, those of the last weeks who had one, too."""
        with self._reading() as file:
            rows = file.execute(f"{_GUEST_ROWS} ORDER BY until, id").fetchall()
        return [_guest_of(row) for row in rows]

    def guest_link(self, guest: Guest, now: int) -> str:
        """Return the token of a link that lets a device of a guest in once."""
        with self._writing() as file:
            user = User(guest.name, guest.role, guest.number)
            return _new_link(file, user, now, min(now + GUEST_LINK_S, guest.until))

    def change_end(self, number: int, until: int, *, now: int) -> bool:
        """Let an access that lasts end at another time; returns whether there was one."""
        with self._writing() as file:
            changed = file.execute(
                "UPDATE guest SET until = ? WHERE id = ? AND until > ?", (until, number, now)
            )
            # A link to come in by lasts no longer than what it leads to.
            file.execute("UPDATE link SET until = min(until, ?) WHERE guest = ?", (until, number))
            self._read_devices()
            return changed.rowcount > 0

    def withdraw(self, number: int, *, by: str, now: int) -> bool:
        """End an access at once, with all its devices; returns whether there was one."""
        with self._writing() as file:
            ended = file.execute(
                "UPDATE guest SET until = ?, withdrawn_by = ? WHERE id = ? AND until > ?",
                (now, by, number, now),
            )
            file.execute("DELETE FROM link WHERE guest = ?", (number,))
            file.execute("DELETE FROM calendar WHERE guest = ?", (number,))
            self._read_devices()
            return ended.rowcount > 0

    def make_calendar(self, name: str, now: int, *, guest: int | None = None) -> None:
        """Make one more address for the calendars of a user."""
        with self._writing() as file:
            file.execute(
                "INSERT INTO calendar (id, name, made_at, guest) VALUES (?, ?, ?, ?)",
                (secrets.token_hex(4), name, now, guest),
            )
            file.execute(
                "DELETE FROM calendar WHERE rowid IN (SELECT rowid FROM calendar WHERE name = ? "
                "ORDER BY rowid DESC LIMIT -1 OFFSET ?)",
                (name, MOST_CALENDARS_OF_ONE),
            )

    def calendars(self, name: str) -> list[CalendarFeed]:
        """Return the addresses for the calendars of a user, in the order they were made."""
        with self._reading() as file:
            rows = file.execute(
                "SELECT id, made_at, read_at FROM calendar WHERE name = ? ORDER BY rowid", (name,)
            ).fetchall()
        return [CalendarFeed(*row) for row in rows]

    def read_calendar(self, feed: str, name: str, now: int) -> bool:
        """Return whether a user's address is good, and note that it is read."""
        with self._reading() as file:
            row = file.execute(
                "SELECT calendar.id, calendar.made_at, read_at, calendar.guest, until "
                "FROM calendar LEFT JOIN guest ON guest.id = calendar.guest "
                "WHERE calendar.id = ? AND calendar.name = ?",
                (feed, name),
            ).fetchone()
        if row is None or (row[3] is not None and (row[4] or 0) <= now):
            return False
        found = CalendarFeed(*row[:3])
        if found.read_at is None or now - found.read_at >= _NOTED_EVERY_S:
            try:
                with self._writing() as file:
                    file.execute("UPDATE calendar SET read_at = ? WHERE id = ?", (now, feed))
            except SessionStoreError as error:
                self._throttled.warn("the use of a calendar is not noted", why=str(error))
        return True

    def stop_calendar(self, feed: str, name: str) -> bool:
        """End an address of a user, and no other; returns whether there was one."""
        with self._writing() as file:
            stopped = file.execute("DELETE FROM calendar WHERE id = ? AND name = ?", (feed, name))
            return stopped.rowcount > 0

    def subscribe(self, session: int, device: Subscription) -> None:
        """Keep where a device takes pushes, for as long as its session is open."""
        with self._writing() as file:
            file.execute(
                "INSERT OR REPLACE INTO push (endpoint, keys, session, language) "
                "VALUES (?, ?, ?, ?)",
                (device.endpoint, device.keys, session, device.language),
            )
            file.execute(
                "DELETE FROM push WHERE rowid IN (SELECT push.rowid FROM push "
                "JOIN session ON session.id = push.session WHERE session.name = "
                "(SELECT name FROM session WHERE id = ?) "
                "ORDER BY push.rowid DESC LIMIT -1 OFFSET ?)",
                (session, MOST_PUSHED_OF_ONE),
            )
            file.execute(
                "DELETE FROM push WHERE rowid IN "
                "(SELECT rowid FROM push ORDER BY rowid DESC LIMIT -1 OFFSET ?)",
                (MOST_PUSHED,),
            )
            self._read_devices()

    def end(self, name: str, why: str) -> None:
        """Note that a device takes no more pushes, and why.

        Never fails: at worst it is tried again after a new start.
        """
        device = self.devices.get(name)
        if device is None:
            return
        try:
            with self._writing() as file:
                file.execute("UPDATE push SET ended = ? WHERE endpoint = ?", (why, device.endpoint))
                self._read_devices()
        except SessionStoreError as error:
            self._devices = {n: d for n, d in self._devices.items() if n != name}
            self._throttled.warn("the end of a subscription is not noted", why=str(error))

    def subscription(self, session: int, endpoint: str) -> tuple[Subscription, str | None] | None:
        """Return a subscription of a session's device, and why it is over if it is."""
        with self._reading() as file:
            row = file.execute(
                f"{_DEVICES} WHERE push.session = ? AND push.endpoint = ?", (session, endpoint)
            ).fetchone()
        return None if row is None else (Subscription(*row[:4]), row[4])

    def subscriptions(self) -> list[Subscription]:
        """Return every device that takes pushes."""
        return list(self.devices.values())

    def _read_devices(self) -> None:
        rows = self._file.execute(f"{_DEVICES} WHERE push.ended IS NULL").fetchall()
        found = [(Subscription(*row[:4]), row[5]) for row in rows]
        self._devices = {d.name: (d, _FOREVER if end is None else end) for d, end in found}

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._failing(), self._lock, self._file:
            yield self._file

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._failing(), self._lock:
            yield self._file

    @contextmanager
    def _failing(self) -> Iterator[None]:
        """Say what is wrong with the file in words, and what to do."""
        try:
            yield
        except (sqlite3.Error, _NoneOfOursError) as error:
            code = getattr(error, "sqlite_errorcode", None)
            primary = None if code is None else code & 0xFF
            if isinstance(error, _NoneOfOursError) or primary in _DAMAGED:
                raise SessionStoreDamagedError(
                    f"the file of sessions {self.name} is damaged ({error}); start the watch anew: "
                    "it moves the file aside and begins another"
                ) from error
            raise SessionStoreError(
                f"the file of sessions {self.name} cannot be used ({error}); check that its disk "
                "has room and that this user may write to it and its folder"
            ) from error

    def _make_tables(self) -> None:
        """Make the tables where there are none: another program's file is left as it is."""
        if self._file.execute("SELECT 1 FROM sqlite_master").fetchone() is None:
            self._file.executescript(_TABLES)
        if not self._columns("push"):
            return
        self._file.execute(_CALENDARS)
        self._file.execute(_GUESTS)
        for table, later in _LATER.items():
            there = self._columns(table)
            for name in [name for name in later if there and name not in there]:
                self._file.execute(f"ALTER TABLE {table} ADD COLUMN {name} {later[name]}")

    def _columns(self, table: str) -> set[str]:
        return {row[1] for row in self._file.execute(f"PRAGMA table_info({table})")}

    def _make_secret(self) -> bytes:
        with self._writing() as file:
            file.execute(
                "INSERT INTO secret SELECT ? WHERE NOT EXISTS (SELECT 1 FROM secret)",
                (secrets.token_bytes(_SECRET_BYTES),),
            )
            found = file.execute("SELECT bytes FROM secret").fetchall()
        if len(found) != 1 or not _is_secret(found[0][0]):
            raise _NoneOfOursError("its secret is none")
        return bytes(found[0][0])

    def _check(self) -> None:
        """Read all of the file, which is small; what cannot be read now fails somebody later."""
        found = self._file.execute("PRAGMA quick_check(1)").fetchone()
        if found != ("ok",):
            raise _NoneOfOursError(str(found and found[0]).splitlines()[-1])
        rows = self._file.execute(_SESSIONS).fetchall()
        links = self._file.execute("SELECT hash, name, role, until, guest FROM link").fetchall()
        guests = self._file.execute(_GUEST_ROWS).fetchall()
        self._file.execute("SELECT endpoint, keys, session, language, ended FROM push").fetchall()
        self._file.execute("SELECT id, name, made_at, read_at, guest FROM calendar").fetchall()
        try:
            for row in rows:
                _session(row)
            for row in (*links, *guests):
                Role(row[2])
        except (ValueError, TypeError) as error:
            raise _NoneOfOursError(str(error)) from error


class _NoneOfOursError(Exception):
    """A file that is a database, but not one of sessions."""


_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR}
"""SQLITE_ERROR is what statements of ours that do not fit the tables end in."""


def _is_secret(found: object) -> bool:
    return isinstance(found, bytes) and len(found) == _SECRET_BYTES


def _hash(token: str) -> str:
    # The tokens are random and long: a plain hash of one says nothing about it.
    return hashlib.sha256(token.encode()).hexdigest()


def _new_link(file: sqlite3.Connection, user: User, now: int, until: int) -> str:
    token = secrets.token_urlsafe(24)
    file.execute("DELETE FROM link WHERE until < ?", (now,))
    file.execute(
        "INSERT INTO link (hash, name, role, until, guest) VALUES (?, ?, ?, ?, ?)",
        (_hash(token), user.name, user.role, until, user.guest),
    )
    return token


def _guest(file: sqlite3.Connection, number: int | None) -> Guest | None:
    row = file.execute(f"{_GUEST_ROWS} WHERE id = ?", (number,)).fetchone()
    return None if row is None else _guest_of(row)


def _guest_of(row: tuple[int, str, int, int, int, str, str | None]) -> Guest:
    number, name, role, until, made_at, made_by, withdrawn_by = row
    return Guest(number, name, Role(role), until, made_at, made_by, withdrawn_by)


def _session(row: tuple[int, str, int, int, int, int, int | None, int | None]) -> Session:
    number, name, role, by_link, began_at, seen_at, guest, until = row
    if guest is not None and until is None:
        until = 0  # its access is long over, and forgotten
    user = User(name, Role(role), guest)
    return Session(number, user, bool(by_link), began_at, seen_at, until)
