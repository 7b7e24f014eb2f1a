"""What can be wrong with a step on a record."""

from collections.abc import Sequence

from watcher.records.facts import Missing


class RecordError(Exception):
    """The step does not fit the record; the text says what and what to do."""


class IncompleteError(RecordError):
    """The record cannot be closed yet: something that a rule asks for is missing."""

    def __init__(self, job: int, missing: Sequence[Missing]) -> None:
        self.missing = tuple(missing)
        lines = [f"The record of job {job} is not closed: {len(missing)} things are missing."]
        for m in missing:
            lines.append(f"  {m.what} ({m.rule}, {m.known}): watcher record set {job} {m.key}=…")
        lines.append(
            f'Close it as it is with: watcher record close {job} --incomplete "why"; or choose '
            "the rules that apply, [farm] record_rules in the farm file."
        )
        super().__init__("\n".join(lines))
