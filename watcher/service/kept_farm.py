"""The farm as it was when the watch last started well, to run with when its file has mistakes.

The texts of the files are kept, not copies of the files: read again under the paths they had, they
name the same files beside them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ValidationError

from watcher.farm import Farm
from watcher.farm.load import FarmFileError, load
from watcher.farm.problems import Problem
from watcher.farm.read_file import text_of
from watcher.i18n.message import say
from watcher.store.whole_files import write_whole


@dataclass(frozen=True)
class KeptFarm:
    """An earlier farm that is used instead of one with mistakes."""

    farm: Farm
    checked_at: int
    """When it was last found to have none. [epoch s]"""
    mistakes: tuple[str, ...]
    """What is wrong with the farm file now."""


class _Texts(BaseModel):
    path: Path
    checked_at: int
    texts: Mapping[Path, str]


def load_to_keep(path: Path, file: Path) -> tuple[Farm, Mapping[Path, str]]:
    """Load a farm that is to be kept in ``file``; returns the texts of all its files, too.

    Raises ``FarmFileError``.
    """
    texts: dict[Path, str] = {}

    def read(file: Path) -> str:
        texts[file] = text_of(file)
        return texts[file]

    def as_kept() -> bool:
        before = _stored(file)
        return before is not None and before.texts == texts

    return load(path, read, seen=as_kept), texts


def keep(file: Path, path: Path, texts: Mapping[Path, str], now: int) -> None:
    """Keep the texts of a farm that has no mistakes. Raises ``OSError``."""
    write_whole(file, _Texts(path=path, checked_at=now, texts=texts).model_dump_json())


def kept(file: Path, mistakes: tuple[str, ...]) -> KeptFarm | None:
    """Return the farm that was kept; None where there is none that can be used."""
    stored = _stored(file)
    if stored is None:
        return None

    def read(path: Path) -> str:
        if path not in stored.texts:
            problem = Problem(path, "", say("was not kept"), say("mend the farm file"))
            raise FarmFileError([problem])
        return stored.texts[path]

    try:
        return KeptFarm(load(stored.path, read), stored.checked_at, mistakes)
    except FarmFileError:
        return None


def _stored(file: Path) -> _Texts | None:
    try:
        return _Texts.model_validate_json(file.read_bytes())
    except (OSError, ValidationError):
        return None
