"""People who would never hear what they are meant to, and sprayers that nobody would drive."""

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


def driver_problems(draft: Draft) -> Iterator[Problem]:
    """Hours of work without an end, and sprayers that no driver drives."""
    drivers = draft.config.drivers
    for name, driver in drivers.items():
        if driver.hours is not None and driver.hours.start == driver.hours.end:
            wrong = say("start and end are the same: that is all day or never")
            mend = say("give them different times, or leave hours out")
            yield draft.problem(dotted(("drivers", name, "hours")), wrong, mend)
    named = {sprayer for driver in drivers.values() for sprayer in driver.sprayers}
    # A driver that cannot be read may drive any of them, and so may one whose sprayer is mistaken.
    unread = len(drivers) < len(draft.names("drivers")) or not named <= {*draft.names("sprayers")}
    if not drivers or unread:
        return
    for sprayer in draft.names("sprayers"):
        if all(driver.sprayers and sprayer not in driver.sprayers for driver in drivers.values()):
            wrong = say("nobody under [drivers] drives it")
            mend = say("add it to the sprayers of a driver, or take it out")
            yield draft.problem(dotted(("sprayers", sprayer)), wrong, mend)
