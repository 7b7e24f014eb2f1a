"""A farm in one file: its files and versions, jobs and records, and readings where they are wanted.

A zip archive of

* ``contents.json``: ``format``, the farm's name, ``made_at`` (epoch seconds), and under ``files``
  of every other file its size and SHA-256;
* ``farm.toml`` and ``fields.geojson``: the farm's files as they stand;
* ``versions/NNNNNN.json``: the versions of them that are kept;
* ``log.json``: the rows of jobs, their steps and events, and of the records' chain;
* ``readings.csv``, where asked for: readings as ``watcher log export`` writes them.

It has no push addresses, tokens or keys: these are settings, and what an owner wrote into the
farm's files all the same is taken out (``watcher.written_secrets``). Whatever else stands in an
archive, or is larger, fewer or other than ``contents.json`` says, is refused before anything is
written.
"""

import io
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePosixPath
from typing import IO

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from watcher.farm.editing.texts import FarmTexts
from watcher.farm.read_file import read_draft
from watcher.i18n.message import Message, joined, say
from watcher.service.farm_versions import FarmVersion
from watcher.store.moving import MOVED, Rows

FORMAT = "farm bundle 1"
READINGS = "readings.csv"
_CONTENTS, _FARM, _FIELDS, _LOG = "contents.json", "farm.toml", "fields.geojson", "log.json"
_VERSION = re.compile(r"versions/[0-9]{6}\.json", re.ASCII)
_MOST_FILES = 20_000
_MOST_TEXT, _MOST_LOG, _MOST_READINGS, _MOST_WHOLE = 2**23, 2**27, 2**31, 2**32
_PIECE = 2**16
_NO_ZIP = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    NotImplementedError,
    EOFError,
    OSError,
    RuntimeError,
    OverflowError,
)
_PACKED = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
_MADE_AGAIN = say("take the archive anew from where it was made")


class BundleError(Exception):
    """An archive cannot be read in: what is wrong, and what to do. Nothing was written."""

    def __init__(self, wrong: Message, mend: Message = _MADE_AGAIN) -> None:
        self.text = joined([wrong, mend], "; ")
        super().__init__(str(self.text))


class _Sum(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    bytes: int = Field(ge=0, le=_MOST_READINGS)
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")


class Contents(BaseModel):
    """What an archive says of itself."""

    model_config = ConfigDict(extra="forbid", strict=True)

    format: str
    farm: str
    made_at: int
    files: dict[str, _Sum]


@dataclass(frozen=True)
class Bundle:
    """An archive that was checked whole. Its readings are read from it again when wanted."""

    contents: Contents
    farm: str
    fields: str
    versions: Sequence[FarmVersion]
    log: Rows
    archive: IO[bytes]

    @property
    def has_readings(self) -> bool:
        """Whether readings are in it."""
        return READINGS in self.contents.files

    @contextmanager
    def readings(self) -> Iterator[IO[str]]:
        """Open its readings as the lines of a table."""
        with zipfile.ZipFile(self.archive) as whole, whole.open(READINGS) as opened:
            yield io.TextIOWrapper(opened, encoding="utf-8-sig", newline="")

    def texts(self, file: Path) -> FarmTexts:
        """Return its farm as it would stand in a file, checked as ``watcher check`` does.

        Raises ``FarmFileError`` with all that is wrong, and ``BundleError`` where its boundaries
        would not stand below the farm file.
        """
        fields_file = read_draft(file, lambda _file: self.farm).fields_file
        below = PurePosixPath(fields_file.as_posix())
        try:
            inside = not {".."} & set(below.relative_to(file.parent.as_posix()).parts)
        except ValueError:
            inside = False
        if not inside or fields_file == file:
            raise BundleError(
                say("its boundaries would be written outside of the farm file's folder"),
                say("set fields_file to a name beside the farm file where it was made"),
            )
        texts = FarmTexts(file, self.farm, fields_file, self.fields)
        texts.load()
        return texts


def write_bundle(
    into: IO[bytes],
    texts: FarmTexts,
    versions: Sequence[FarmVersion],
    log: Rows,
    *,
    made_at: int,
    readings: Path | None = None,
) -> None:
    """Write an archive. ``readings`` is a table of them, as ``watcher log export`` writes it."""
    name = texts.load().config.farm.name
    shown = texts.masked
    parts: dict[str, bytes] = {_FARM: shown.farm.encode(), _FIELDS: shown.fields.encode()}
    parts |= {
        f"versions/{one.number:06d}.json": _portable(one).model_dump_json().encode()
        for one in versions
    }
    parts[_LOG] = json.dumps(log, ensure_ascii=False, separators=(",", ":")).encode()
    sums = {name: _Sum(bytes=len(d), sha256=sha256(d).hexdigest()) for name, d in parts.items()}
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, data in parts.items():
            archive.writestr(_entry(part), data, zipfile.ZIP_DEFLATED)
        if readings is not None:
            with readings.open("rb") as source, archive.open(_entry(READINGS), "w") as target:
                sums[READINGS] = _sum_of(source, _MOST_READINGS, target)
        contents = Contents(format=FORMAT, farm=name, made_at=made_at, files=sums)
        archive.writestr(_entry(_CONTENTS), contents.model_dump_json(indent=1))


def read_bundle(archive: IO[bytes]) -> Bundle:
    """Read and check an archive whole. Raises ``BundleError``; nothing is written anywhere."""
    try:
        with zipfile.ZipFile(archive) as whole:
            return _read(whole, archive)
    except _NO_ZIP as error:
        wrong = say("this is no whole zip archive ({why})", why=type(error).__name__)
        raise BundleError(wrong) from error
    except (UnicodeDecodeError, ValidationError, ValueError, KeyError, TypeError, RecursionError):
        raise BundleError(say("what stands in this archive cannot be read as a farm")) from None


def _read(whole: zipfile.ZipFile, archive: IO[bytes]) -> Bundle:
    infos = whole.infolist()
    names = [info.filename for info in infos]
    if len(names) > _MOST_FILES or sum(info.file_size for info in infos) > _MOST_WHOLE:
        raise BundleError(say("this archive is too large once it is unpacked"))
    for info in infos:
        if not _known(info.filename) or info.flag_bits & 1 or info.compress_type not in _PACKED:
            wrong = say("{name} has no place in such an archive", name=repr(info.filename[:60]))
            raise BundleError(wrong)
    if len(set(names)) != len(names):
        raise BundleError(say("this archive has the same name twice"))
    if _CONTENTS not in names:
        raise BundleError(
            say("this archive is not one of a farm: it has no {name}", name=_CONTENTS)
        )
    contents = Contents.model_validate_json(_bytes_of(whole, _CONTENTS))
    if contents.format != FORMAT:
        raise BundleError(
            say("this archive is of a form that is not known: {form}", form=repr(contents.format)),
            say("read it in with the version of the program that made it, or a newer one"),
        )
    if {*contents.files, _CONTENTS} != {*names} or not {_FARM, _FIELDS, _LOG} <= {*names}:
        raise BundleError(say("this archive has not the files that it says it has"))
    for name, said in contents.files.items():
        with whole.open(name) as opened:
            if _sum_of(opened, min(_most(name), said.bytes)) != said:
                raise BundleError(
                    say("{name} in this archive is not what was put there", name=name)
                )
    log = json.loads(_bytes_of(whole, _LOG))
    if set(log) != set(MOVED):
        raise BundleError(say("what stands in this archive cannot be read as a farm"))
    versions = [
        FarmVersion.model_validate_json(_bytes_of(whole, name))
        for name in sorted(filter(_VERSION.fullmatch, names))
    ]
    farm, fields = (_bytes_of(whole, name).decode() for name in (_FARM, _FIELDS))
    return Bundle(contents, farm, fields, versions, log, archive)


def _known(name: str) -> bool:
    known = {_CONTENTS, _FARM, _FIELDS, _LOG, READINGS}
    return name in known or _VERSION.fullmatch(name) is not None


def _most(name: str) -> int:
    return {_LOG: _MOST_LOG, READINGS: _MOST_READINGS}.get(name, _MOST_TEXT)


def _bytes_of(whole: zipfile.ZipFile, name: str) -> bytes:
    with whole.open(name) as opened:
        data = opened.read(_most(name) + 1)
    if len(data) > _most(name):
        raise BundleError(say("{name} in this archive is too large", name=name))
    return data


def _sum_of(source: IO[bytes], most: int, target: IO[bytes] | None = None) -> _Sum:
    """Add up a file piece by piece, and copy it where it is wanted; at most so much of it."""
    found, count = sha256(), 0
    while (piece := source.read(_PIECE)) and count <= most:
        found.update(piece)
        count += len(piece)
        if target is not None:
            target.write(piece)
    return _Sum.model_construct(bytes=count, sha256=found.hexdigest())


def _portable(version: FarmVersion) -> FarmVersion:
    """A version without the folders of the machine it was made on."""
    names = {"file": Path(version.file.name), "fields_file": Path(version.fields_file.name)}
    return version.model_copy(update=names)


def _entry(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)  # no date: the same farm is the same archive
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o600 << 16
    return info
