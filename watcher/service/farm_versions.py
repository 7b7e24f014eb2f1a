"""Every version of the farm's files, with who made it and when: one small file a version."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ValidationError

from watcher.farm.editing.texts import FarmTexts
from watcher.store.whole_files import write_whole
from watcher.written_secrets import has_secret, masked

_LOOKED_AT = "looked-at"
"""File with the number of the newest version that was looked through for secrets."""


class FarmVersion(BaseModel):
    """The farm's files as they were from a moment on, without secrets written into them."""

    number: int
    at: int
    """When they were written, or found to be so. [epoch s]"""
    by: str
    """Who changed them; empty for somebody with an editor, whom nobody knows."""
    loosened: Sequence[str] = ()
    """What a label or law asks less of since: the owner said that its words changed."""
    season: str = ""
    """The season that ended with it, where it is the farm as a season left it."""
    file: Path
    farm: Annotated[str, AfterValidator(masked)]
    fields_file: Path
    fields: Annotated[str, AfterValidator(masked)]

    @property
    def texts(self) -> FarmTexts:
        """Both files."""
        return FarmTexts(self.file, self.farm, self.fields_file, self.fields)


class FarmVersions:
    """The versions of one farm, in a folder of their own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def add(
        self,
        texts: FarmTexts,
        *,
        by: str,
        at: int,
        loosened: Sequence[str] = (),
        season: str = "",
    ) -> FarmVersion:
        """Keep a version after all that are kept. Raises ``OSError``."""
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        version = FarmVersion(
            number=max(self.numbers(), default=0) + 1,
            at=at,
            by=by,
            loosened=tuple(loosened),
            season=season,
            file=texts.file,
            farm=texts.farm,
            fields_file=texts.fields_file,
            fields=texts.fields,
        )
        write_whole(self._file(version.number), version.model_dump_json())
        return version

    def numbers(self) -> list[int]:
        """The numbers of all versions that are kept, the newest first."""
        names = (file.stem for file in self._folder.glob("*.json"))
        return sorted((int(name) for name in names if name.isdecimal()), reverse=True)

    def one(self, number: int) -> FarmVersion | None:
        """Return a version; None where there is none, or it cannot be read any more."""
        try:
            return FarmVersion.model_validate_json(self._file(number).read_bytes())
        except (OSError, ValidationError):
            return None

    def newest(self) -> FarmVersion | None:
        """Return the newest version that can be read."""
        return next(filter(None, map(self.one, self.numbers())), None)

    def before(self, number: int) -> FarmVersion | None:
        """Return the version before one."""
        return next(filter(None, (self.one(n) for n in self.numbers() if n < number)), None)

    def take_secrets_out(self) -> None:
        """Write those anew that an older program kept with secrets in them. Raises ``OSError``.

        Each is looked at once in its life: a farm may have hundreds, and this is done at a start.
        """
        looked_at = self._folder / _LOOKED_AT
        last = int(looked_at.read_text()) if looked_at.exists() else 0
        waiting = [number for number in self.numbers() if number > last]
        for number in waiting:
            file = self._file(number)
            if has_secret(file.read_text(encoding="utf-8", errors="replace")):
                version = self.one(number)
                if version is not None:
                    write_whole(file, version.model_dump_json())
        if waiting:
            write_whole(looked_at, str(waiting[0]))

    def _file(self, number: int) -> Path:
        return self._folder / f"{number:06d}.json"
