"""``watcher explain``: everything the judgement of one field rests on, as text and as a chart."""

import time
from datetime import datetime
from datetime import time as clock_time
from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from watcher.alerts.wording.explain import explanation, headline_of
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import CAUTION, clock
from watcher.charts.field import draw_field
from watcher.charts.paper import CannotDrawError
from watcher.cli.opening import open_farm, open_log, open_settings, out, stop
from watcher.farm import Farm
from watcher.judge.hour_limits import ends
from watcher.judge.judgement import Judgement
from watcher.judge.plan import Plan
from watcher.judge.setup_choice import choose_setup
from watcher.service.picture import take


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("explain")(explain)


def explain(
    field: Annotated[str, typer.Argument(help="The field's name.")],
    setup: Annotated[
        str | None, typer.Option(help="A setup's name; the recommended one when left out.")
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            help="Today's time on the farm's clock, 14:30, or a date with it. Now if not."
        ),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="A file to draw it in as well, .png or .svg.")
    ] = None,
) -> None:
    """Explain one field with one setup at one time: limits, drift, air, setups, end rows."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    if field not in farm.told.fields:
        stop(f"no field {field!r}; the farm file has {', '.join(farm.told.fields)}")
    now = int(time.time())
    moment = now if at is None else _moment(at, farm, now)
    plan = Plan.of(farm)
    with open_log(settings) as log, log.reading() as session:
        judgement = take(session, plan, now).judgement.of_field(plan.fields.index(field))
    when = _index(judgement, moment, farm, now)
    case = plan.fields.index(field), _setup(judgement, field, setup, when), when
    speaker = Speaker(farm)
    out.print(headline_of(speaker, judgement, case, now), markup=False)
    for heading, lines in explanation(speaker, judgement, case):
        out.print(heading, markup=False)
        for line in lines:
            out.print(f"  {line}", markup=False)
    if plot is not None:
        _draw(plot, speaker, judgement, case, now)
    out.print(CAUTION, markup=False)


def _draw(
    file: Path, speaker: Speaker, judgement: Judgement, case: tuple[int, int, int], now: int
) -> None:
    try:
        draw_field(file, speaker, judgement, case, now)
    except CannotDrawError as error:
        stop(str(error))
    out.print(f"Drawn in {file}.", markup=False)


def _moment(text: str, farm: Farm, now: int) -> int:
    """Read today's time on the farm's clock, or a date and time, with its offset or the farm's."""
    try:
        if "-" not in text:
            today = datetime.fromtimestamp(now, farm.zone).date()
            moment = datetime.combine(today, clock_time.fromisoformat(text))
        else:
            moment = datetime.fromisoformat(text)
    except ValueError:
        stop(f'--at {text!r} is no time; write "14:30" or "2026-06-01T14:30"')
    return int((moment if moment.tzinfo else moment.replace(tzinfo=farm.zone)).timestamp())


def _index(judgement: Judgement, moment: int, farm: Farm, now: int) -> int:
    """The time of the series that stands at a moment."""
    times = judgement.series.times
    index = int(np.searchsorted(times, moment, side="right")) - 1
    if index < 0 or moment >= ends(judgement.series)[-1]:
        first, last = (clock(int(t), now, farm.zone) for t in (times[0], times[-1]))
        stop(f"--at is outside what is looked at: it goes from {first} to {last}")
    return index


def _setup(judgement: Judgement, field: str, setup: str | None, time_index: int) -> int:
    plan = judgement.plan
    index = plan.fields.index(field)
    usable = [name for s, name in enumerate(plan.setups) if plan.allowed[index, s]]
    if setup is None:
        chosen = choose_setup(judgement, index, time_index)
        if chosen is None:
            stop(f"field {field!r} has no setup; the farm file must name one")
        return chosen
    if setup not in usable:
        stop(f"{field} is not sprayed with a setup {setup!r}; it may be with {', '.join(usable)}")
    return plan.setups.index(setup)
