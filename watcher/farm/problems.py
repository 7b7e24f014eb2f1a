"""Something wrong in a farm's files, said so that the grower can mend it."""

import difflib
from collections.abc import Iterable, Sequence
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
    """The farm's files cannot be used. Lists every problem at once."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


def did_you_mean(word: str, known: Iterable[str], what: str) -> str:
    """Return the mend for a word that is not among the known ones."""
    names = list(known)
    if not names:
        return f"there are no {what} yet: add one"
    close = difflib.get_close_matches(word, names, n=1)
    guess = f'did you mean "{close[0]}"? ' if close else ""
    return f"{guess}{what}: {', '.join(names)}"
