"""The one writer of the farm's files: pages and programs ask it, a hand with an editor is noticed.

What is written has passed what ``watcher check`` asks. Every version is kept before it is written.
"""

import contextlib
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import structlog

from watcher.farm import Farm
from watcher.farm.editing.difference import FarmChange, difference
from watcher.farm.editing.edits import Edit, check_machines, edited
from watcher.farm.editing.loosening import Loosened, loosened
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import Message, Param, say
from watcher.service.clock import Clock
from watcher.service.farm_check import law_problems
from watcher.service.farm_versions import FarmVersion, FarmVersions
from watcher.store.whole_files import write_whole

log = structlog.get_logger("watcher.service")
_Signature = tuple[tuple[int, int, int], ...]
_NOTHING: _Signature = ((-1, -1, -1),)


class OutdatedError(Exception):
    """Somebody else has changed the farm since: ``texts`` is how it is now, ``last`` who did it."""

    def __init__(self, texts: FarmTexts, last: FarmVersion | None) -> None:
        super().__init__("the farm was changed meanwhile")
        self.texts, self.last = texts, last


class LoosensError(Exception):
    """A label or law would ask for less, and nobody said that its words changed."""

    def __init__(self, found: Sequence[Loosened]) -> None:
        super().__init__("; ".join(str(dotted(one.at)) for one in found))
        self.found = tuple(found)


@dataclass(frozen=True)
class FarmProposal:
    """A change of the farm that passed every check and is not made yet."""

    before: FarmTexts
    after: FarmTexts
    farm: Farm
    """The farm as it would be."""
    changes: tuple[FarmChange, ...]
    loosened: tuple[Loosened, ...]


@dataclass(frozen=True)
class Noticed:
    """What a hand with an editor did: a farm, or what is wrong with it."""

    texts: FarmTexts | None
    farm: Farm | None
    mistakes: tuple[Problem | Message, ...] = ()


class FarmEditor:
    """Changes the farm's files, one change at a time. Blocking; from any thread."""

    def __init__(
        self,
        file: Path,
        versions: FarmVersions,
        clock: Clock,
        unfit: Callable[[Farm], Sequence[Message]] = lambda _farm: (),
    ) -> None:
        """``unfit`` says what of a farm does not fit the settings."""
        self.file, self.versions = file, versions
        self._clock, self._unfit = clock, unfit
        self._lock = threading.RLock()
        self._stood: tuple[Farm, date, set[tuple[Param, Message]]] | None = None
        """What is wrong with the running farm beyond being readable, on a day."""
        self._fields_file = file
        self._known = self._readable()
        self._seen, self._moving = self._signature(), _NOTHING

    def texts(self) -> FarmTexts:
        """Return the files as they are. Raises ``FarmFileError`` where they cannot be read."""
        texts = FarmTexts.of_files(self.file)
        self._fields_file = texts.fields_file
        return texts

    def propose(
        self, running: Farm, edits: Iterable[Edit], *, based_on: str | None = None
    ) -> FarmProposal:
        """Return what a change would come to; nothing is written.

        ``running`` is the farm in use; ``based_on`` the ETag of what whoever asks has seen. Raises
        ``OutdatedError``, and ``FarmFileError`` with all that is wrong.
        """
        before = self.texts()
        self._same(before, based_on)
        return self._proposed(running, before, edited(before, edits).filled_as(before))

    def propose_texts(
        self, running: Farm, farm: str, fields: str, *, based_on: str | None = None
    ) -> FarmProposal:
        """Return what it would come to that the files are these, which came from elsewhere.

        They may name no other files or machines than the files do now.
        """
        before = self.texts()
        self._same(before, based_on)
        after = FarmTexts(before.file, farm, before.fields_file, fields).filled_as(before)
        after.load()
        check_machines(before, after)
        return self._proposed(running, before, after)

    def propose_version(
        self, running: Farm, version: FarmVersion, *, based_on: str | None = None
    ) -> FarmProposal:
        """Return what it would come to that the files are again as in a version."""
        before = self.texts()
        self._same(before, based_on)
        after = FarmTexts(before.file, version.farm, before.fields_file, version.fields)
        return self._proposed(running, before, after.filled_as(before))

    def save(
        self, proposal: FarmProposal, *, by: str, label_changed: bool = False, season: str = ""
    ) -> FarmVersion:
        """Make a change; returns its version. ``season`` is one that ends with it.

        Raises ``LoosensError`` where it loosens a label or law unless ``label_changed``,
        ``OutdatedError``, and ``FarmFileError`` where the files cannot be written.
        """
        if proposal.loosened and not label_changed:
            raise LoosensError(proposal.loosened)
        with self._lock:
            self._same(self.texts(), proposal.before.etag)
            try:
                return self._write(proposal, by, season)
            except OSError as error:
                wrong = say("cannot be written ({why})", why=str(error.strerror))
                mend = say("let the watch write to this file and its folder")
                where = Path(error.filename) if error.filename else self.file
                raise FarmFileError([Problem(where, "", wrong, mend)]) from error

    def noticed(self) -> Noticed | None:
        """Return what a hand changed since the last time; None where nothing is new.

        A file that still changes is left alone until it is the same twice: editors write in parts.
        """
        with self._lock:
            signature = self._signature()
            if signature == self._seen:
                self._moving = _NOTHING
                return None
            if signature != self._moving:
                self._moving = signature
                return None
            self._seen, self._moving = signature, _NOTHING
            texts = self._readable()
            if texts is not None and texts == self._known:
                return None
            self._known = texts
            return self._read()

    def keep_by_hand(self, texts: FarmTexts, loosens: Sequence[Loosened]) -> None:
        """Keep what a hand wrote as a version of its own."""
        named = [str(dotted(one.at)) for one in loosens]
        try:
            self.versions.add(texts, by="", at=self._clock.now(), loosened=named)
        except OSError as error:
            log.warning("a version of the farm cannot be kept", why=error.strerror)

    def _read(self) -> Noticed:
        texts = None
        try:
            texts = self.texts()
            farm = texts.load()
        except FarmFileError as error:
            return Noticed(texts, None, error.problems)
        if mistakes := tuple(self._unfit(farm)):
            return Noticed(texts, None, mistakes)
        return Noticed(texts, farm)

    def _proposed(self, running: Farm, before: FarmTexts, after: FarmTexts) -> FarmProposal:
        farm = after.load()
        problems = [
            Problem(self.file, "", wrong, say("change the settings of the watch as well"))
            for wrong in self._unfit(farm)
        ]
        today = datetime.fromtimestamp(self._clock.now(), farm.zone).date()
        # What was so before is no fault of this change.
        if self._stood is None or self._stood[0] is not running or self._stood[1] != today:
            stood = {(p.key, p.wrong) for p in law_problems(running, self.file, today)}
            self._stood = running, today, stood
        known = self._stood[2]
        found = law_problems(farm, self.file, today)
        problems += [p for p in found if (p.key, p.wrong) not in known]
        if problems:
            raise FarmFileError(problems, farm.language)
        with contextlib.suppress(FarmFileError):  # of a file with mistakes the running farm tells
            running = before.load()
        return FarmProposal(
            before, after, farm, difference(before, after), loosened(running.config, farm.config)
        )

    def _same(self, texts: FarmTexts, based_on: str | None) -> None:
        if based_on is not None and texts.etag != based_on:
            raise OutdatedError(texts, self.versions.newest())

    def _write(self, proposal: FarmProposal, by: str, season: str) -> FarmVersion:
        before, after, now = proposal.before, proposal.after, self._clock.now()
        newest = self.versions.newest()
        if newest is None or newest.texts.etag != before.etag:
            newest = self.versions.add(before, by="", at=now)
        if season:  # as it left the fields: kept under its name before they begin anew
            newest = self.versions.add(before, by=by, at=now, season=season)
        if after == before:
            return newest
        named = [str(dotted(one.at)) for one in proposal.loosened]
        version = self.versions.add(after, by=by, at=now, loosened=named)
        # Of a crash in between, a start finds a boundary nobody names, says so, and runs with the
        # farm before it.
        for file, old, new in (
            (after.fields_file, before.fields, after.fields),
            (after.file, before.farm, after.farm),
        ):
            if old != new:
                write_whole(file, new, mode=file.stat().st_mode & 0o777 if file.exists() else 0o600)
        self._seen, self._moving, self._known = self._signature(), _NOTHING, after
        return version

    def _readable(self) -> FarmTexts | None:
        try:
            return self.texts()
        except FarmFileError:
            return None

    def _signature(self) -> _Signature:
        found = []
        for file in (self.file, self._fields_file):
            with contextlib.suppress(OSError):
                stat = file.stat()
                found.append((stat.st_mtime_ns, stat.st_size, stat.st_ino))
        return tuple(found)
