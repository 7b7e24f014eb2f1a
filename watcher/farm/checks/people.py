"""People who would never hear what they are meant to."""

from collections.abc import Iterator

from watcher.farm.problems import Problem
from watcher.farm.reading import Draft
from watcher.farm.slips import assigned, dotted


def people_problems(draft: Draft) -> Iterator[Problem]:
    """Quiet hours without an end, recipients who hear nothing, times with a zone of their own."""
    for name, recipient in draft.told.recipients.items():
        steps = ("recipients", name)
        if not recipient.hears:
            yield draft.problem(dotted((*steps, "hears")), "is empty", "list what they are told of")
        if (quiet := recipient.quiet_hours) is None:
            continue
        if quiet.start == quiet.end:
            wrong = "start and end are the same: that is all day or never"
            mend = "give them different times, or leave quiet_hours out"
            yield draft.problem(dotted((*steps, "quiet_hours")), wrong, mend)
    brief = draft.told.brief
    if brief.evening is not None and brief.evening <= brief.morning:
        key = assigned(("brief", "evening"), brief.evening)
        yield draft.problem(key, "is not after brief.morning", "write it on the 24-hour clock")
