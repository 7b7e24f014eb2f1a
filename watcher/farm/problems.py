"""Something wrong in a farm file, said so that the grower can mend it."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Problem:
    """One thing to mend: the file, the key as the grower sees it, what is wrong, what to do."""

    file: Path
    key: str
    wrong: str
    mend: str

    def __str__(self) -> str:
        where = f"{self.file}: {self.key}" if self.key else str(self.file)
        return f"{where}: {self.wrong}\n    {self.mend}"


class FarmFileError(Exception):
    """The farm file cannot be used. Lists every problem at once."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))
