"""People who would never hear what they are meant to."""

from collections.abc import Iterator

from watcher.farm.problems import Problem
from watcher.farm.read_file import Draft
from watcher.farm.validation_messages import assigned, dotted
from watcher.i18n.message import say


def people_problems(draft: Draft) -> Iterator[Problem]:
    """Quiet hours without an end, recipients who hear nothing, times with a zone of their own."""
    for name, recipient in draft.config.recipients.items():
        steps = ("recipients", name)
        if not recipient.hears:
            mend = say("list what they are alerted to")
            yield draft.problem(dotted((*steps, "hears")), say("is empty"), mend)
        if (quiet := recipient.quiet_hours) is None:
            continue
        if quiet.start == quiet.end:
            wrong = say("start and end are the same: that is all day or never")
            mend = say("give them different times, or leave quiet_hours out")
            yield draft.problem(dotted((*steps, "quiet_hours")), wrong, mend)
    brief = draft.config.brief
    if brief.evening is not None and brief.evening <= brief.morning:
        key = assigned(("brief", "evening"), brief.evening)
        wrong = say("is not after brief.morning")
        yield draft.problem(key, wrong, say("write it on the 24-hour clock"))
