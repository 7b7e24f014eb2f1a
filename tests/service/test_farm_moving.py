"""A farm out of one place and into another: equal there, or nothing of it."""

import io
import json
import random
import shutil
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import pytest

from tests.support.farm_files import written
from tests.support.farms import watched_tables
from tests.support.new_log import new_log
from tests.support.running import put_forecast
from tests.support.visiting import CALM, NOON, PROGRAM, visited
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.load import load
from watcher.farm.problems import FarmFileError
from watcher.limits.farm_arrays import FarmArrays
from watcher.records import journal
from watcher.service.farm_bundle import BundleError, read_bundle
from watcher.service.farm_moving import bring_in, take_out
from watcher.service.farm_versions import FarmVersions
from watcher.service.snapshot import take
from watcher.store.database import Database
from watcher.store.errors import LogInUseError
from watcher.store.moving import moved_out
from watcher.store.running_lock import running_lock

LATER = NOON + 1800


@dataclass
class Place:
    """A folder with a log, a farm file and its versions, or room for them."""

    folder: Path
    log: Database

    @classmethod
    def at(cls, folder: Path) -> "Place":
        folder.mkdir(exist_ok=True)
        return cls(folder, new_log(folder / "watch.db"))

    @property
    def file(self) -> Path:
        return self.folder / "farm.toml"

    @property
    def versions(self) -> FarmVersions:
        return FarmVersions(self.folder / "versions")

    def holds(self) -> dict[str, bytes]:
        """Everything that is written there, but the log's own files."""
        files = [f for f in self.folder.rglob("*") if f.is_file() and "watch.db" not in f.name]
        return {str(f.relative_to(self.folder)): f.read_bytes() for f in files}


async def lived(folder: Path) -> Place:
    """A place where a job was sprayed, its record closed and the farm changed."""
    file = written(folder)
    headers = {"Authorization": f"Bearer {PROGRAM}"}
    async with visited(folder, farm_file=file) as v:
        asked = {"field": "hill", "setup": "coarse"}
        await v.web.post("/api/v1/jobs", json=asked, headers=headers)
        v.service.clock.at = LATER
        await v.service.post(**CALM)
        await v.web.post("/api/v1/jobs/1/finish", json={}, headers=headers)
        closed = await v.web.post(
            "/api/v1/records/1/close", json={"incomplete": "a test"}, headers=headers
        )
        assert closed.status_code == 200, closed.text
        await v.service.judged()
    place = Place(folder, Database(f"sqlite:///{folder / 'watch.db'}"))
    texts = FarmTexts.of_files(file)
    place.versions.add(texts, by="boss", at=NOON)
    return place


def archive_of(place: Place, *, readings: bool = True) -> io.BytesIO:
    into = io.BytesIO()
    texts = FarmTexts.of_files(place.file)
    take_out(into, place.log, texts, place.versions, now=LATER, readings=readings)
    return into


_LIVED: list[Path] = []
"""Where it was lived once: each test has a copy of that."""


@pytest.fixture
async def home(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Place:
    if not _LIVED:
        _LIVED.append(tmp_path_factory.mktemp("lived"))
        await lived(_LIVED[0])
    folder = tmp_path / "home"
    shutil.copytree(_LIVED[0], folder)
    return Place(folder, Database(f"sqlite:///{folder / 'watch.db'}"))


async def test_what_comes_in_elsewhere_is_equal(home: Place, tmp_path: Path) -> None:
    archive = archive_of(home)
    other = Place.at(tmp_path / "other")
    found = bring_in(read_bundle(archive), other.log, other.file, other.versions, now=LATER)
    assert (found.fields, found.jobs, found.versions, found.readings) == (2, 1, 1, 2)
    assert other.file.read_bytes() == home.file.read_bytes()
    assert load(other.file).config == load(home.file).config
    assert load(other.file).ground.fields_deg == load(home.file).ground.fields_deg
    put_forecast(other.log, NOON)
    statuses = []
    for place in (home, other):
        with place.log.reading() as session:
            verdict = journal.verify(session)
            assert verdict.broken is None
            assert verdict.count == found.entries > 0
            snapshot = take(session, FarmArrays.of(load(place.file)), LATER)
            statuses.append((snapshot.judgement.status.tolist(), verdict.head))
    assert statuses[0] == statuses[1]
    assert other.versions.newest() is not None
    assert other.versions.newest().by == "boss"
    again = archive_of(other)
    assert read_bundle(again).log == read_bundle(archive).log


async def test_the_same_farm_is_the_same_archive_and_holds_no_secret(home: Place) -> None:
    first, second = archive_of(home), archive_of(home)
    assert first.getvalue() == second.getvalue()
    with zipfile.ZipFile(first) as whole:
        everything = b"".join(whole.read(name) for name in whole.namelist())
    assert PROGRAM.encode() not in everything
    assert str(home.folder).encode() not in everything


async def test_the_same_import_again_changes_nothing(home: Place, tmp_path: Path) -> None:
    bundle = read_bundle(archive_of(home))
    other = Place.at(tmp_path / "other")
    bring_in(bundle, other.log, other.file, other.versions, now=LATER)
    before = other.holds()
    bring_in(bundle, other.log, other.file, other.versions, now=LATER)
    assert other.holds() == before


async def test_a_farm_that_is_there_is_overwritten_only_when_told(
    home: Place, tmp_path: Path
) -> None:
    bundle = read_bundle(archive_of(home))
    other = Place.at(tmp_path / "other")
    tables = watched_tables()
    tables["farm"] = tables["farm"] | {"name": "Another farm"}
    written(other.folder, tables)
    before = other.holds()
    with pytest.raises(BundleError, match="there already"):
        bring_in(bundle, other.log, other.file, other.versions, now=LATER)
    assert other.holds() == before
    with other.log.reading() as session:
        assert not any(moved_out(session).values())
    bring_in(bundle, other.log, other.file, other.versions, now=LATER, replace=True)
    assert load(other.file).config == load(home.file).config
    kept = [other.versions.one(number) for number in other.versions.numbers()]
    assert any(one is not None and "Another farm" in one.farm for one in kept)


async def test_two_chains_of_records_are_never_mixed(home: Place, tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    other = await lived(tmp_path / "b")
    with other.log.writing() as session:
        journal.write(session, job=None, kind="incident", at=NOON, by="x", content={})
    bundle = read_bundle(archive_of(home))
    before = other.holds()
    with pytest.raises(BundleError, match="cannot be one"):
        bring_in(bundle, other.log, other.file, other.versions, now=LATER, replace=True)
    assert other.holds() == before


async def test_nothing_comes_in_while_a_watch_runs(home: Place, tmp_path: Path) -> None:
    bundle = read_bundle(archive_of(home))
    other = Place.at(tmp_path / "other")
    running = running_lock(new_log(other.folder / "watch.db"))
    running.take()
    with pytest.raises(LogInUseError):
        bring_in(bundle, other.log, other.file, other.versions, now=LATER)
    running.release()
    assert other.holds().keys() <= {"watch.db.lock"}


def changed(archive: io.BytesIO, change: Callable[[dict[str, bytes]], None]) -> io.BytesIO:
    """The archive with its parts changed, and its checksums made to fit."""
    with zipfile.ZipFile(archive) as whole:
        parts = {name: whole.read(name) for name in whole.namelist()}
    contents = json.loads(parts.pop("contents.json"))
    change(parts)
    contents["files"] = {
        name: {"bytes": len(data), "sha256": sha256(data).hexdigest()}
        for name, data in parts.items()
    }
    return packed(parts | {"contents.json": json.dumps(contents).encode()})


def packed(parts: dict[str, bytes]) -> io.BytesIO:
    into = io.BytesIO()
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as whole:
        for name, data in parts.items():
            whole.writestr(name, data)
    return into


def _tampered(parts: dict[str, bytes]) -> None:
    log = json.loads(parts["log.json"])
    log["record_entry"][0]["by"] = "somebody else"
    parts["log.json"] = json.dumps(log).encode()


def _text_for_number(parts: dict[str, bytes]) -> None:
    log = json.loads(parts["log.json"])
    log["job"][0]["planned_s"] = "long"
    parts["log.json"] = json.dumps(log).encode()


def _mistake(parts: dict[str, bytes]) -> None:
    parts["farm.toml"] = parts["farm.toml"].replace(b"boom_width", b"boom_wide")


def _boundaries_elsewhere(parts: dict[str, bytes]) -> None:
    text = parts["farm.toml"].decode().replace("[farm]\n", '[farm]\nfields_file = "../../x"\n')
    parts["farm.toml"] = text.encode()


def _bad_readings(parts: dict[str, bytes]) -> None:
    parts["readings.csv"] += b"mast,not a time\r\n"


CHANGES = [_tampered, _text_for_number, _mistake, _boundaries_elsewhere, _bad_readings]


@pytest.mark.parametrize("change", CHANGES, ids=lambda one: one.__name__.strip("_"))
async def test_a_changed_archive_is_refused_and_nothing_is_written(
    home: Place, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> None:
    archive = changed(archive_of(home), change)
    other = Place.at(tmp_path / "other")
    with pytest.raises((BundleError, FarmFileError)):
        bring_in(read_bundle(archive), other.log, other.file, other.versions, now=LATER)
    assert other.holds().keys() <= {"watch.db.lock"}
    with other.log.reading() as session:
        assert not any(moved_out(session).values())


def _broken(archive: io.BytesIO) -> dict[str, bytes]:
    """Archives that are none, by what is wrong with them."""
    data = archive.getvalue()
    with zipfile.ZipFile(archive) as whole:
        parts = {name: whole.read(name) for name in whole.namelist()}
    twice = io.BytesIO(data)
    with warnings.catch_warnings(), zipfile.ZipFile(twice, "a") as more:
        warnings.simplefilter("ignore")
        more.writestr("farm.toml", "again")
    many = {f"versions/{n:06d}.json": b"" for n in range(20_001)}
    return {
        "no zip": b"plain words",
        "empty": b"",
        "cut": data[: len(data) // 2],
        "another kind": packed({"a.txt": b"x"}).getvalue(),
        "up and out": packed(parts | {"../evil": b"x"}).getvalue(),
        "absolute": packed(parts | {"/etc/evil": b"x"}).getvalue(),
        "a folder": packed(parts | {"versions/": b""}).getvalue(),
        "unnamed": packed(parts | {"versions/000099.json": b"{}"}).getvalue(),
        "missing": packed({n: d for n, d in parts.items() if n != "log.json"}).getvalue(),
        "no contents": packed({n: d for n, d in parts.items() if n != "contents.json"}).getvalue(),
        "other bytes": packed(parts | {"farm.toml": parts["farm.toml"] + b"\n"}).getvalue(),
        "bomb": packed(parts | {"log.json": b" " * 140_000_000}).getvalue(),
        "twice": twice.getvalue(),
        "too many": packed(parts | many).getvalue(),
        "deep": packed(parts | {"contents.json": b"[" * 100_000}).getvalue(),
        "newer": packed(
            parts | {"contents.json": parts["contents.json"].replace(b"bundle 1", b"bundle 9")}
        ).getvalue(),
    }


async def test_whatever_byte_is_garbled_it_is_refused_or_read_as_it_was(home: Place) -> None:
    archive, chance = archive_of(home), random.Random(7)
    whole = read_bundle(archive)
    data = archive.getvalue()
    refused = 0
    for _ in range(300):
        garbled = bytearray(data)
        for _ in range(chance.choice((1, 1, 8))):
            garbled[chance.randrange(len(data))] ^= chance.randrange(1, 256)
        try:
            found = read_bundle(io.BytesIO(garbled))
        except BundleError:
            refused += 1
        else:
            assert (found.farm, found.fields, found.log) == (whole.farm, whole.fields, whole.log)
    assert refused > 200


async def test_what_is_no_whole_archive_is_refused_with_the_mend(home: Place) -> None:
    for what, data in _broken(archive_of(home)).items():
        with pytest.raises(BundleError, match="; ") as refused:
            read_bundle(io.BytesIO(data))
        assert str(refused.value), what
