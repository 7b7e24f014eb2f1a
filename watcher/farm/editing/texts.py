"""A farm's two files as texts: what an edit begins with and ends in."""

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from watcher.farm import Farm
from watcher.farm.load import load
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.read_file import read_draft, text_of
from watcher.i18n.message import say
from watcher.written_secrets import filled_as, masked

_ETAG_LETTERS = 20


@dataclass(frozen=True)
class FarmTexts:
    """The farm file and the file of its boundaries, as they stand or as they would."""

    file: Path
    farm: str
    fields_file: Path
    fields: str

    @classmethod
    def of_files(cls, file: Path, read: Callable[[Path], str] = text_of) -> "FarmTexts":
        """Read both files. Raises ``FarmFileError`` where one is not there or is no TOML."""
        farm = read(file)
        fields_file = read_draft(file, lambda _file: farm).fields_file
        return cls(file, farm, fields_file, read(fields_file))

    @property
    def raw(self) -> dict[str, Any]:
        """The farm file's plain values."""
        return tomllib.loads(self.farm)

    @property
    def etag(self) -> str:
        """Changes with every change of either file, but of secrets written into them."""
        farm, fields = masked(self.farm), masked(self.fields)
        whole = f"{len(farm)}\n{farm}{fields}"
        return sha256(whole.encode()).hexdigest()[:_ETAG_LETTERS]

    @property
    def masked(self) -> "FarmTexts":
        """Both without secrets: what is shown, exported and kept as a version."""
        return replace(self, farm=masked(self.farm), fields=masked(self.fields))

    def filled_as(self, before: "FarmTexts") -> "FarmTexts":
        """Both with the secrets that stand in the same addresses of ``before``."""
        return replace(
            self,
            farm=filled_as(self.farm, before.farm),
            fields=filled_as(self.fields, before.fields),
        )

    def read(self, file: Path) -> str:
        """Return the text of one of the two. Raises ``FarmFileError`` for any other."""
        known = {self.file: self.farm, self.fields_file: self.fields}
        if file not in known:
            wrong = say("is not the file of boundaries that is changed here")
            mend = say("change fields_file in the farm file itself")
            raise FarmFileError([Problem(file, "", wrong, mend)])
        return known[file]

    def load(self) -> Farm:
        """Check both as ``watcher check`` does. Raises ``FarmFileError`` with all that is wrong."""
        return load(self.file, self.read)
