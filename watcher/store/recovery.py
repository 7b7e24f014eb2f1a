"""Opening the log of the running watch, whatever became of it since it last ran.

A log that cannot be used is moved aside, never deleted, and a new one takes its place: to watch on
without the past is better than not to watch. What was lost is returned, to be announced.
"""

import contextlib
import shutil
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy.orm import Session

from watcher.store import jobs, migrations, runs
from watcher.store.database import Database
from watcher.store.errors import LogDamagedError, LogUnreachableError
from watcher.store.last_known import KnownRun, LastKnown, LastKnownFile, Loss, OpenJob, Trouble
from watcher.store.running_lock import RunningLock
from watcher.store.tables import Job

_PARTS = ("-wal", "-shm", "")
_DAMAGED_AGAIN = 2
_LITTLE_BYTES = 200 * 1024**2
_NOTED_EVERY_S = 60


class OwnLog:
    """A log in the hands of the one watch that runs on it."""

    def __init__(self, log: Database, lock: RunningLock, notes: LastKnownFile) -> None:
        self._log, self._lock, self._notes = log, lock, notes
        self._opened = False
        self._loss: Loss | None = None
        self._damage_met = 0
        self._noted: LastKnown | None = None

    def open(self, now: int) -> Loss | None:
        """Take the log and bring it up to date; returns what was lost since it was last known.

        May be called again, also after it failed. Raises ``LogError``.
        """
        self._lock.take()
        if not self._opened:
            known = self._notes.read()
            if known is not None:
                self._damage_met = max(self._damage_met, known.damage_met)
            self._loss = self._recovered(known, now)
            self._opened = True
        return self._loss

    def note(self) -> None:
        """Keep beside the log what it knows, where that changed or a minute has passed.

        Not before a loss has been announced: what was known before is needed until then. Raises
        ``LogError``, and ``OSError`` where nothing can be written beside the log.
        """
        with self._log.reading() as session:
            known = _known(session, self._damage_met)
        if self._noted is None or not _much_the_same(self._noted, known):
            self._noted = known  # where it cannot be written, a minute later is soon enough
            self._notes.write(known)

    def damage_met(self) -> None:
        """Note that the log was found to be damaged in use; the next ``open`` looks at all of it.

        What is found sound once and damaged in use again is replaced nevertheless.
        """
        self._opened = False
        self._damage_met += 1
        self._log.close()
        known = self._notes.read()
        if known is not None:
            with contextlib.suppress(OSError):  # it is remembered in memory, too
                self._notes.write(known.model_copy(update={"damage_met": self._damage_met}))

    def _recovered(self, known: LastKnown | None, now: int) -> Loss | None:
        found = self._trouble(known)
        if found is None:
            return known.loss if known is not None else None
        trouble, known_until = found
        loss = Loss(
            trouble=trouble,
            found_at=now,
            known_until=known_until,
            watched_until=known.seen_at if known is not None else None,
            jobs=known.jobs if known is not None else None,
        )
        file = self._log.file
        if file is not None and trouble != "older":
            self._log.close()
            loss = loss.model_copy(update=_moved_aside(file, trouble, now))
            self._damage_met = 0
            self._keep_note(loss)
        self._log.upgrade()
        with self._log.reading() as session:
            return _of_jobs(loss, jobs.open_jobs(session))

    def _keep_note(self, loss: Loss) -> None:
        note = LastKnown(
            first=None, run=None, seen_at=loss.watched_until, jobs=loss.jobs, loss=loss
        )
        with contextlib.suppress(OSError):  # a full disk: said all the same, unless killed before
            self._notes.write(note)

    def _trouble(self, known: LastKnown | None) -> tuple[Trouble, int | None] | None:
        """What is wrong with the log, and until when it knows anything nevertheless.

        The log is up to date afterwards if nothing is.
        """
        ours = known.first if known is not None else None
        file = self._log.file
        try:
            gone = None if file is None else _gone(file, expected=ours is not None)
        except OSError as error:
            raise LogUnreachableError(
                f"the log {file} cannot be looked at ({error.strerror}); check its folder"
            ) from error
        if gone is not None:
            return gone, None
        try:
            if self._damage_met >= _DAMAGED_AGAIN:
                return "damaged", None
            if self._damage_met:
                self._log.check()
            if known is not None and ours is not None:
                with self._log.reading() as session:
                    found = _compared(session, known, ours)
                if found is not None:
                    return found
            self._log.upgrade()
        except LogDamagedError:
            return "damaged", None
        return None


def _known(session: Session, damage_met: int) -> LastKnown:
    first, last = runs.first(session), runs.last(session)
    return LastKnown(
        first=None if first is None else KnownRun.of(first),
        run=None if last is None else KnownRun.of(last),
        seen_at=None if last is None else last.seen_at,
        jobs=tuple(OpenJob.of(job) for job in jobs.open_jobs(session)),
        damage_met=damage_met,
    )


def _much_the_same(noted: LastKnown, known: LastKnown) -> bool:
    """Whether nothing changed but the time, and that by less than a minute."""
    if known.model_copy(update={"seen_at": noted.seen_at}) != noted:
        return False
    return 0 <= (known.seen_at or 0) - (noted.seen_at or 0) < _NOTED_EVERY_S


def _gone(file: Path, *, expected: bool) -> Trouble | None:
    """Whether there is no log, or an empty one, though there was one: seen before it is opened.

    SQLite would throw away the newest part of a log whose main file is empty.
    """
    journal = file.with_name(f"{file.name}-wal")
    left = journal.exists() and journal.stat().st_size > 0
    if not file.exists():
        return "missing" if expected or left else None
    if file.stat().st_size == 0:
        return "emptied" if expected or left else None
    return None


def _compared(
    session: Session, known: LastKnown, ours: KnownRun
) -> tuple[Trouble, int | None] | None:
    """Compare a log with what was last known of it."""
    version = migrations.version(session.connection())
    if version is not None and not migrations.knows(version):
        return None  # of a newer program, which is said when it is opened
    last = None if version is None else runs.last(session)
    first = None if version is None else runs.first(session)
    if first is None or last is None:
        return "emptied", None
    if KnownRun.of(first) != ours:
        return "another", last.last_alive_at
    run = None if known.run is None else runs.get(session, known.run.id)
    if run is None or KnownRun.of(run) != known.run:
        return "older", last.last_alive_at
    lacks = known.seen_at is not None and run.last_alive_at < known.seen_at
    return ("older", run.last_alive_at) if lacks else None


def _of_jobs(loss: Loss, open_now: Sequence[Job]) -> Loss:
    """Tell apart which jobs the log that is used now does not know, and which it wrongly has."""
    if loss.jobs is None:
        return loss
    here = tuple(OpenJob.of(job) for job in open_now)
    return loss.model_copy(
        update={
            "jobs": tuple(job for job in loss.jobs if job not in here),
            "over": tuple(job for job in here if job not in loss.jobs),
        }
    )


def _moved_aside(file: Path, trouble: Trouble, now: int) -> dict[str, str | int | None]:
    """Move a log with its journal to another name beside it. Raises ``LogUnreachableError``.

    The main file goes last: cut short before, it is found again as what it is.
    """
    aside = _free_name(file, f"{trouble}-{datetime.fromtimestamp(now, UTC):%Y%m%dT%H%M%SZ}")
    parts = [end for end in _PARTS if file.with_name(file.name + end).exists()]
    try:
        for end in parts:
            file.with_name(file.name + end).rename(aside.with_name(aside.name + end))
    except OSError as error:
        raise LogUnreachableError(
            f"the log {file} is {trouble} and cannot be moved aside ({error.strerror}); move it "
            "to another folder by hand"
        ) from error
    free = shutil.disk_usage(file.parent).free
    return {
        "aside": aside.name if parts else None,
        "free_bytes": free if free < _LITTLE_BYTES else None,
    }


def _free_name(file: Path, ending: str) -> Path:
    wanted = file.with_name(f"{file.name}.{ending}")
    count = 1
    while wanted.exists():
        count += 1
        wanted = file.with_name(f"{file.name}.{ending}-{count}")
    return wanted
