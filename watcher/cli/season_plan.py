"""``watcher season --plan``: the days of the log as the plan, a ranking and hindsight have them."""

from collections import Counter
from collections.abc import Collection
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from watcher.cli.context import answer, out, stop, table_of
from watcher.cli.language import in_words
from watcher.farm import Farm
from watcher.i18n.message import Message, joined, say
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.words import CAUTION
from watcher.service.planned_season import (
    MORNING,
    LeftOutDay,
    PlannedDay,
    PlannedJob,
    Strategy,
    WayTotal,
    planned_days,
)

_WAYS = {
    Strategy.PLAN: say("the plan of the morning"),
    Strategy.RANKING: say("the ranking sends who is free"),
    Strategy.PERFECT: say("knowing what came"),
}
_CAME = {
    True: say("finished"),
    False: say("broken off"),
    None: say("not known whether it held"),
}
_LEFT_OUT = {
    LeftOutDay.NOT_FORETOLD: say("Days left out, without a forecast of their morning in the log"),
    LeftOutDay.NOT_MEASURED: say("Days left out, without readings of the wind in the log"),
}


def show(
    session: Session, farm: Farm, start: int, end: int, *, months: Collection[int] = ()
) -> None:
    """Print each day's jobs as it is worked out, then what they come to; stop without any day."""
    totals = {way: WayTotal() for way in Strategy}
    days: Counter[LeftOutDay | None] = Counter()
    for day in planned_days(session, FarmArrays.of(farm), start, end, months=months):
        days[day.left_out] += 1
        if day.left_out is None:
            for way, total in totals.items():
                total.add(day, way)
            _print(day, farm)
    if not days[None]:
        stop(_nothing(days))
    out.print(_table(totals, days))
    answer(
        say(
            "Each day by itself, planned at {hour} and kept all day, with the fields still to be "
            "sprayed by the jobs in the log: a field counts on every day until its job is there.",
            hour=f"{MORNING:%H:%M}",
        )
    )
    for why, text in _LEFT_OUT.items():
        if days[why]:
            answer(joined([text, str(days[why])], ": "))
    answer(CAUTION)


def _nothing(days: Counter[LeftOutDay | None]) -> Message:
    if not days:
        return say(
            "no whole day with its morning lies in that time; name a longer one or other months"
        )
    if days[LeftOutDay.NOT_MEASURED]:
        return say(
            "the log holds no readings of the wind on the days of that time that have a forecast; "
            "name days on which a station was heard"
        )
    return say(
        "the log holds no forecast of any morning of that time; it has those of days on which the "
        "watch ran, for as long as WATCHER_KEEP_RAW says"
    )


def _print(day: PlannedDay, farm: Farm) -> None:
    answer(f"{day.day:%Y-%m-%d}")
    for way, words in _WAYS.items():
        jobs = [_job(job, farm) for job in day.jobs[way]]
        said = joined(jobs, "; ") if jobs else say("nothing")
        answer(joined(["  ", words, ": ", said], ""))


def _job(job: PlannedJob, farm: Farm) -> Message:
    begun = datetime.fromtimestamp(job.step.starts_at, UTC).astimezone(farm.zone)
    return say(
        "{hour} {field} with {sprayer}, {came}",
        hour=f"{begun:%H:%M}",
        field=job.step.field,
        sprayer=job.step.sprayer,
        came=_CAME[job.held],
    )


def _table(totals: dict[Strategy, WayTotal], days: Counter[LeftOutDay | None]) -> object:
    table = table_of(
        say("Chosen by"), title=say("Fields over the days compared: {n}", n=str(days[None]))
    )
    for heading in (
        say("Finished"),
        say("Broken off"),
        say("Not known"),
        say("Worth"),
        say("Windows missed"),
    ):
        table.add_column(in_words(heading), justify="right")
    table.caption = in_words(
        say(
            "worth: 1 for a finished clean field, up to 1.3 for a weedy one, half after its last "
            "day; a broken job costs a quarter"
        )
    )
    for way, total in totals.items():
        counts = total.finished, total.broken, total.not_known
        table.add_row(
            in_words(_WAYS[way]), *map(str, counts), f"{total.worth:.2f}", str(total.missed)
        )
    return table
