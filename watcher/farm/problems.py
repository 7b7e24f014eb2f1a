"""Something wrong in a farm's files, said so that the grower can mend it."""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import NOTHING, Message, Param, render, say


@dataclass(frozen=True)
class Problem:
    """One thing to mend: the file, the key as the grower sees it, what is wrong, what to do."""

    file: Path
    key: Param
    wrong: Message
    mend: Message

    def render(self, language: Language) -> str:
        """Return two lines: where and what, and the mend."""
        key, wrong, mend = (render(part, language) for part in (self.key, self.wrong, self.mend))
        where = f"{self.file}: {key}" if key else str(self.file)
        return f"{where}: {wrong}\n    {mend}"

    def __str__(self) -> str:
        return self.render(ENGLISH)


class FarmFileError(Exception):
    """The farm's files cannot be used. Lists every problem at once."""

    def __init__(self, problems: Sequence[Problem], language: Language | None = None) -> None:
        self.problems = tuple(problems)
        self.language = language
        """The language the farm file names; None where it names none that is known."""
        super().__init__(self.render(ENGLISH))

    def render(self, language: Language) -> str:
        """Return every problem, one below the other."""
        return "\n".join(problem.render(language) for problem in self.problems)


def did_you_mean(word: str, known: Iterable[str], what: Param) -> Message:
    """Return the mend for a word that is not among the known ones."""
    names = list(known)
    if not names:
        return say("there are no {what} yet: add one", what=what)
    return say(
        "{guess}{what}: {names}", guess=guess(word, names), what=what, names=", ".join(names)
    )


def line_and_column(line: int, column: int) -> Message:
    """Return a place in a file that cannot be read, as its key."""
    return say("line {line}, column {column}", line=line, column=column)


def guess(word: str, known: Iterable[str]) -> Message:
    """Return the question whether a known word was meant, where one is like it."""
    close = difflib.get_close_matches(word, list(known), n=1)
    return say('did you mean "{word}"? ', word=close[0]) if close else NOTHING
