"""``watcher season``: how many hours each field could have been sprayed in, and what took them."""

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from watcher.charts.season import draw_season
from watcher.charts.style import CannotDrawError
from watcher.cli import season_plan
from watcher.cli.context import answer, open_farm, open_log, open_settings, out, stop, table_of
from watcher.cli.language import in_words
from watcher.cli.time_range import From, To, remembered, stretch
from watcher.i18n.message import Message, joined, say
from watcher.judge.season import Tally
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.messages.vocabulary import LIMIT_WORDS, STATUS_WORDS
from watcher.messages.words import SHAPES
from watcher.service.season import add_up

_CUT_SHORT = say("not known to the job's end")
_ORDER = (Status.SUITABLE, Status.MARGINAL, Status.UNSUITABLE, Status.UNKNOWN)


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("season")(season)


def season(
    start: From,
    end: To,
    month: Annotated[
        list[int] | None,
        typer.Option(min=1, max=12, help="Only this month of every year; may be given again."),
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--output", "-o", help="A picture as well, .png or .svg.")
    ] = None,
    plan: Annotated[
        bool,
        typer.Option("--plan", help="Day by day: what the plan would have sprayed, and what held."),
    ] = False,
) -> None:
    """Count the hours each field was fit to be sprayed in, and what took the others away."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    if plan and file is not None:
        stop(say("--plan draws no picture; leave --output or --plan away"))
    first, last = stretch(start, end, farm)
    with open_log(settings) as log, log.reading() as session:
        first, last = remembered(session, first, last, farm)
        if plan:
            season_plan.show(session, farm, first, last, months=month or ())
            return
        tally = add_up(session, FarmArrays.of(farm), first, last, months=month or ())
    whole = tally.hours.sum(axis=1).max()
    if not whole:
        stop(say("no hour of that time lies in the months named"))
    out.print(_fields(tally, whole))
    answer(
        say(
            "At least one field was open in {hours} of {whole} hours.",
            hours=f"{tally.open_somewhere:.0f}",
            whole=f"{whole:.0f}",
        )
    )
    out.print(_limits(tally))
    if file is not None:
        _draw(file, tally, f"{farm.config.farm.name}, {start} to {end}{_months(month)}")


def _fields(tally: Tally, whole: float) -> Table:
    table = table_of(say("Field"), title=say("Hours, by whole jobs begun in them"))
    for status in _ORDER:
        heading = joined([SHAPES[status], STATUS_WORDS[status]], " ")
        table.add_column(in_words(heading), justify="right")
    table.add_column(in_words(say("Open")), justify="right")
    for row, field in enumerate(tally.fields):
        hours = [f"{tally.hours[row, status]:.0f}" for status in _ORDER]
        table.add_row(field, *hours, f"{tally.open_hours[row] / whole:.0%}")
    return table


def _limits(tally: Tally) -> Table:
    """What closed each field, the limit that bound most often first."""
    title = say("What took the other hours")
    table = table_of(say("Field"), say("The limit that bound"), title=title)
    table.caption = in_words(say("alone: nothing else stood in the way"))
    for row, field in enumerate(tally.fields):
        hours: dict[Message, float] = {
            LIMIT_WORDS[limit]: bound[row] for limit, bound in tally.bound.items()
        }
        hours[_CUT_SHORT] = tally.cut_short[row]
        only = {LIMIT_WORDS[limit]: alone[row] for limit, alone in tally.alone.items()}
        words = sorted((w for w in hours if hours[w]), key=lambda w: -hours[w])
        taken = [_taken(word, hours[word], only.get(word, 0.0)) for word in words]
        table.add_row(field, in_words(joined(taken, "\n")), end_section=True)
    return table


def _taken(word: Message, hours: float, only: float) -> Message:
    taken = joined([f"{hours:.0f} h", word], " ")
    if not only:
        return taken
    return say("{taken} ({hours} h alone)", taken=taken, hours=f"{only:.0f}")


def _months(months: list[int] | None) -> str:
    return f", only month {', '.join(map(str, months))}" if months else ""


def _draw(file: Path, tally: Tally, title: str) -> None:
    try:
        draw_season(file, tally, title)
    except CannotDrawError as error:
        stop(str(error))
    answer(say("Drawn in {file}.", file=str(file)))
