"""What can be wrong with a step on a record."""

from collections.abc import Sequence

from watcher.i18n.message import Message, joined, say, say_n
from watcher.records.facts import Missing
from watcher.records.form import lacking
from watcher.records.words import WORDS


class RecordError(Exception):
    """The step does not fit the record; the text says what and what to do.

    ``command`` does it on the command line, where there is such a command; the pages have a form.
    """

    def __init__(self, text: Message, command: str = "") -> None:
        super().__init__(text)
        self.text, self.command = text, command


class UnreadableError(RecordError):
    """An entry of the chain does not hold what its kind holds."""

    def __init__(self, number: int) -> None:
        super().__init__(
            say(
                "entry {number} of the records cannot be read; check whether it was changed",
                number=number,
            ),
            "watcher record verify",
        )


class IncompleteError(RecordError):
    """The record cannot be closed yet: something that a rule asks for is missing."""

    def __init__(self, job: int, missing: Sequence[Missing]) -> None:
        self.missing = tuple(missing)
        lines: list[Message] = [
            say_n(
                "The record of job {job} is not closed: {n} thing is missing.",
                "The record of job {job} is not closed: {n} things are missing.",
                len(missing),
                job=job,
            )
        ]
        for lack in missing:
            known = WORDS[lack.known]
            what = say("{what} ({rule}, {known})", what=lacking(lack), rule=lack.rule, known=known)
            lines.append(joined(["  ", what], ""))
        mend = say(
            "Type in what is missing; or close it as it is and say why; or choose the rules that "
            "apply, [farm] record_rules in the farm file."
        )
        super().__init__(
            joined([*lines, mend], "\n"),
            f"watcher record set {job} {' '.join(f'{m.key}=…' for m in missing)}\n"
            f'watcher record close {job} --incomplete "why"',
        )
