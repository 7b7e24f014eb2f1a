"""What can be wrong with a step on a record."""

from collections.abc import Sequence

from watcher.records.facts import Missing


class RecordError(Exception):
    """The step does not fit the record; the text says what and what to do.

    ``command`` does it on the command line, where there is such a command; the pages have a form.
    """

    def __init__(self, said: str, command: str = "") -> None:
        super().__init__(said)
        self.command = command


class IncompleteError(RecordError):
    """The record cannot be closed yet: something that a rule asks for is missing."""

    def __init__(self, job: int, missing: Sequence[Missing]) -> None:
        self.missing = tuple(missing)
        lines = [f"The record of job {job} is not closed: {len(missing)} things are missing."]
        lines += [f"  {m.what} ({m.rule}, {m.known})" for m in missing]
        lines.append(
            "Type them in; or close it as it is and say why; or choose the rules that apply, "
            "[farm] record_rules in the farm file."
        )
        super().__init__(
            "\n".join(lines),
            f"watcher record set {job} {' '.join(f'{m.key}=…' for m in missing)}\n"
            f'watcher record close {job} --incomplete "why"',
        )
