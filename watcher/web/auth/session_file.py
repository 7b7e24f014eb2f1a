"""The file of sessions as the watch starts: whatever is wrong with it costs sessions only."""

from collections.abc import Callable
from pathlib import Path

import structlog

from watcher.web.auth.sessions import SessionStore, SessionStoreDamagedError, SessionStoreError

log = structlog.get_logger("watcher.web")

LOST = (
    "everybody must log in again, and links in alerts sent before cannot acknowledge them: use the "
    "job's page or 'watcher seen'"
)
_WITH_IT = ("", "-journal", "-wal", "-shm")


def open_session_store(file: Path, now: Callable[[], int]) -> SessionStore:
    """Return the file of sessions, or as much of it as can be had. Never fails.

    ``now`` tells the time.

    A damaged file is moved aside and kept, and a new one begun. One that can be read but not
    written is read, and what is new kept in memory until the watch stops.
    """
    was_empty = _size(file) == 0
    try:
        sessions = SessionStore(file, now=now)
    except SessionStoreDamagedError as error:
        return _anew(file, now, str(error))
    except SessionStoreError as error:
        return _in_memory(file, now, str(error))
    if was_empty:
        log.error("the file of sessions was empty", file=str(file), lost=LOST)
    return sessions


def _anew(file: Path, now: Callable[[], int], why: str) -> SessionStore:
    aside = file.with_name(f"{file.name}.damaged-{now()}")
    try:
        for part in _WITH_IT:
            found = file.with_name(file.name + part)
            if found.exists():
                found.rename(aside.with_name(aside.name + part))
        sessions = SessionStore(file, now=now)
    except (OSError, SessionStoreError) as error:
        log.error("the file of sessions is kept in memory until the watch stops", why=str(error))
        sessions = SessionStore(None, now=now)
    log.error("the file of sessions was damaged", why=why, kept_as=str(aside), lost=LOST)
    return sessions


def _in_memory(file: Path, now: Callable[[], int], why: str) -> SessionStore:
    try:
        if file.is_dir():
            return _anew(file, now, why)
        sessions = SessionStore.copy_of(file, now=now)
    except (SessionStoreError, OSError):
        log.error("the file of sessions cannot be used", why=why, lost=LOST)
        return SessionStore(None, now=now)
    log.error("the file of sessions cannot be written; what is new is kept in memory", why=why)
    return sessions


def _size(file: Path) -> int | None:
    try:
        return file.stat().st_size
    except OSError:
        return None
