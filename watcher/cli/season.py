"""``watcher season``: how many hours each field could have been sprayed in, and what took them."""

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from watcher.alerts.wording.words import SHAPES
from watcher.charts.paper import CannotDrawError
from watcher.charts.season import draw_season
from watcher.cli.moments import From, To, remembered, stretch
from watcher.cli.opening import open_farm, open_log, open_settings, out, stop
from watcher.judge.plan import Plan
from watcher.judge.season import Tally
from watcher.judge.status import Status
from watcher.service.season import add_up

_CUT_SHORT = "not known to the job's end"
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
) -> None:
    """Count the hours each field was fit to be sprayed in, and what took the others away."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    first, last = stretch(start, end, farm)
    with open_log(settings) as log, log.reading() as session:
        first, last = remembered(session, first, last, farm)
        tally = add_up(session, Plan.of(farm), first, last, months=month or ())
    whole = tally.hours.sum(axis=1).max()
    if not whole:
        stop("no hour of that time lies in the months named")
    out.print(_fields(tally, whole))
    out.print(f"At least one field was open in {tally.open_somewhere:.0f} of {whole:.0f} hours.")
    out.print(_limits(tally))
    if file is not None:
        _draw(file, tally, f"{farm.told.farm.name}, {start} to {end}{_months(month)}")


def _fields(tally: Tally, whole: float) -> Table:
    table = Table("Field", title="Hours, by whole jobs begun in them")
    for status in _ORDER:
        table.add_column(f"{SHAPES[status]} {status.word}", justify="right")
    table.add_column("Open", justify="right")
    for row, field in enumerate(tally.fields):
        hours = [f"{tally.hours[row, status]:.0f}" for status in _ORDER]
        table.add_row(field, *hours, f"{tally.open_hours[row] / whole:.0%}")
    return table


def _limits(tally: Tally) -> Table:
    """What closed each field, the limit that bound most often first."""
    table = Table("Field", "The limit that bound", title="What took the other hours")
    table.caption = "alone: nothing else stood in the way"
    for row, field in enumerate(tally.fields):
        hours = {limit.value: bound[row] for limit, bound in tally.bound.items()}
        hours[_CUT_SHORT] = tally.cut_short[row]
        only = {limit.value: alone[row] for limit, alone in tally.alone.items()}
        told = sorted((w for w in hours if hours[w]), key=lambda w: -hours[w])
        said = [_taken(word, hours[word], only.get(word, 0.0)) for word in told]
        table.add_row(field, "\n".join(said), end_section=True)
    return table


def _taken(word: str, hours: float, only: float) -> str:
    alone = f" ({only:.0f} h alone)" if only else ""
    return f"{hours:.0f} h {word}{alone}"


def _months(told: list[int] | None) -> str:
    return f", only month {', '.join(map(str, told))}" if told else ""


def _draw(file: Path, tally: Tally, title: str) -> None:
    try:
        draw_season(file, tally, title)
    except CannotDrawError as error:
        stop(str(error))
    out.print(f"Drawn in {file}.", markup=False)
