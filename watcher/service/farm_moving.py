"""A farm taken out whole, and read in elsewhere: all of it, or nothing."""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.editing.texts import FarmTexts
from watcher.i18n.message import say
from watcher.records import journal
from watcher.service.farm_bundle import Bundle, BundleError, write_bundle
from watcher.service.farm_versions import FarmVersions
from watcher.service.intake import Intake
from watcher.service.sites import site_of_log
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.store.export import write_observations
from watcher.store.importing import BadTableError, read_csv
from watcher.store.moving import moved_in, moved_out
from watcher.store.running_lock import running_lock
from watcher.store.whole_files import write_whole

_EVER = 2**40


@dataclass(frozen=True)
class BroughtIn:
    """What came in."""

    fields: int
    versions: int
    jobs: int
    entries: int
    """Of the records' chain."""
    readings: int


def take_out(
    into: IO[bytes],
    log: Database,
    texts: FarmTexts,
    versions: FarmVersions,
    *,
    now: int,
    readings: bool = False,
) -> None:
    """Write a farm into an archive, with its readings if asked. Raises ``FarmFileError``."""
    kept = list(filter(None, map(versions.one, reversed(versions.numbers()))))
    with tempfile.TemporaryDirectory() as folder, log.reading() as session:
        table = None
        if readings:
            table = Path(folder) / "readings.csv"
            with table.open("w", newline="", encoding="utf-8") as lines:
                write_observations(session, texts.load().config.sources, 0, _EVER, lines)
        write_bundle(into, texts, kept, moved_out(session), made_at=now, readings=table)


def bring_in(
    bundle: Bundle,
    log: Database,
    file: Path,
    versions: FarmVersions,
    *,
    now: int,
    replace: bool = False,
) -> BroughtIn:
    """Read a checked archive in: into the log, which must have no jobs or records, and a farm file.

    A farm file that is there is overwritten with ``replace`` only, and kept as a version then.
    Raises ``BundleError``, ``FarmFileError``, and ``LogInUseError`` where a watch runs on the log,
    before anything is written. Of a failure between
    log and files (a full disk) the same import again goes on from where it ended.
    """
    lock = running_lock(log)
    lock.take()
    try:
        return _brought_in(bundle, log, file, versions, now, replace=replace)
    finally:
        lock.release()


def _brought_in(
    bundle: Bundle, log: Database, file: Path, versions: FarmVersions, now: int, *, replace: bool
) -> BroughtIn:
    texts = bundle.texts(file)
    before = _texts_of(texts)
    # What opens a source here goes on to open it.
    texts = texts.filled_as(FarmTexts(texts.file, before[0], texts.fields_file, before[1]))
    farm = texts.load()
    there = [one for one in (texts.file, texts.fields_file) if one.exists()]
    if there and not replace and (texts.farm, texts.fields) != before:
        raise BundleError(
            say("{file} is there already", file=str(there[0])),
            say("move it away, or say --replace: it is then kept as a version"),
        )
    count = sum(1 for _ in _readings(bundle, log, farm, now))
    with log.writing() as session:
        _rows_in(session, bundle)
    readings = 0
    intake = Intake(farm)
    for block in _readings(bundle, log, farm, now) if count else ():
        with log.writing() as session:
            weather.add_observations(session, intake.checked(session, block, now), None)
        readings += len(block.series)
    _versions_in(bundle, texts, versions, now, replaced=bool(there))
    texts.file.parent.mkdir(parents=True, exist_ok=True)
    texts.fields_file.parent.mkdir(parents=True, exist_ok=True)
    write_whole(texts.fields_file, texts.fields)
    write_whole(texts.file, texts.farm)
    return BroughtIn(
        len(farm.config.fields),
        len(bundle.versions),
        len(bundle.log["job"]),
        len(bundle.log["record_entry"]),
        readings,
    )


def _rows_in(session: Session, bundle: Bundle) -> None:
    known = moved_out(session)
    if known == bundle.log:
        return
    if any(known.values()):
        raise BundleError(
            say("the log has jobs or records already, and two chains of records cannot be one"),
            say("read it in with a log and a state folder of its own"),
        )
    try:
        moved_in(session, bundle.log)
    except Exception as error:
        raise BundleError(say("its jobs or records do not fit this log")) from error
    broken = journal.verify(session).broken
    if broken is not None:
        raise BundleError(
            say("the chain of its records is broken at entry {number}", number=broken.number)
        )


def _versions_in(
    bundle: Bundle, texts: FarmTexts, versions: FarmVersions, now: int, *, replaced: bool
) -> None:
    """Keep what is overwritten, then what the archive kept, and the farm as it comes in."""
    newest = versions.newest()
    if newest is not None and newest.texts.etag == texts.etag:
        return
    if replaced:
        before = _texts_of(texts)
        kept = FarmTexts(texts.file, before[0], texts.fields_file, before[1])
        if newest is None or newest.texts.etag != kept.etag:
            versions.add(kept, by="", at=now)
    for one in bundle.versions:
        old = FarmTexts(texts.file, one.farm, texts.fields_file, one.fields)
        versions.add(old, by=one.by, at=one.at, loosened=one.loosened, season=one.season)
    if not bundle.versions or bundle.versions[-1].texts.etag != texts.etag:
        versions.add(texts, by="", at=now)


def _texts_of(texts: FarmTexts) -> tuple[str, str]:
    """What stands in both files now; empty where one is not there."""
    farm, fields = (
        one.read_text(encoding="utf-8", errors="replace") if one.exists() else ""
        for one in (texts.file, texts.fields_file)
    )
    return farm, fields


def _readings(bundle: Bundle, log: Database, farm: Farm, now: int) -> Iterator[Observations]:
    """The readings of an archive, block by block. Raises ``BundleError``."""
    if not bundle.has_readings:
        return
    with log.reading() as session:
        sites = {name: site_of_log(session, farm, name) for name in farm.config.sources}
    try:
        with bundle.readings() as lines:
            yield from read_csv(lines, sites, now)
    except (BadTableError, UnicodeDecodeError) as error:
        wrong = say("its readings cannot be read: {why}", why=str(error))
        raise BundleError(wrong) from error
