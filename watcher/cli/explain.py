"""``watcher explain``: everything the judgement of one field rests on, as text and as a chart."""

import time
from datetime import datetime
from datetime import time as clock_time
from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from watcher.charts.field import draw_field
from watcher.charts.style import CannotDrawError
from watcher.cli.context import answer, open_farm, open_log, open_settings, stop
from watcher.cli.names import no_such
from watcher.farm import Farm
from watcher.i18n.message import WallTime, joined, say
from watcher.jobs.usual_gusts import usual_gusts
from watcher.judge.judgement import Judgement
from watcher.judge.setup_choice import choose_setup
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.hours import ends
from watcher.messages.explain import explanation, headline_of
from watcher.messages.reasons import Speaker
from watcher.messages.wind_warning import usual_gusts_line
from watcher.messages.words import CAUTION
from watcher.service.snapshot import take


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
    if field not in farm.config.fields:
        stop(no_such("field", field, farm.config.fields))
    now = int(time.time())
    moment = now if at is None else _moment(at, farm, now)
    plan = FarmArrays.of(farm)
    with open_log(settings) as log, log.reading() as session:
        snapshot = take(session, plan, now)
        judgement = snapshot.judgement.of_field(plan.fields.index(field))
        when = _index(judgement, moment, farm, now)
        case = plan.fields.index(field), _setup(judgement, field, setup, when), when
        timeline = snapshot.timeline.of(field)
        gusts = usual_gusts(session, judgement, timeline, *case[:2]) if at is None else None
    speaker = Speaker(farm)
    answer(headline_of(speaker, judgement, case, now))
    for part in explanation(speaker, judgement, case, snapshot.remedies(case)):
        answer(part.heading)
        for line in part.lines:
            answer(joined(["  ", line], ""))
    if gusts is not None:
        answer(
            usual_gusts_line(
                speaker, factor=gusts.factor, gust_m_s=gusts.gust_m_s, bound_m_s=gusts.bound_m_s
            )
        )
    if plot is not None:
        _draw(plot, speaker, judgement, case, now)
    answer(CAUTION)


def _draw(
    file: Path, speaker: Speaker, judgement: Judgement, case: tuple[int, int, int], now: int
) -> None:
    try:
        draw_field(file, speaker, judgement, case, now)
    except CannotDrawError as error:
        stop(str(error))
    answer(say("Drawn in {file}.", file=str(file)))


def _moment(text: str, farm: Farm, now: int) -> int:
    """Read today's time on the farm's clock, or a date and time, with its offset or the farm's."""
    try:
        if "-" not in text:
            today = datetime.fromtimestamp(now, farm.zone).date()
            moment = datetime.combine(today, clock_time.fromisoformat(text))
        else:
            moment = datetime.fromisoformat(text)
    except ValueError:
        stop(say('--at "{text}" is no time; write "14:30" or "2026-06-01T14:30"', text=text))
    return int((moment if moment.tzinfo else moment.replace(tzinfo=farm.zone)).timestamp())


def _index(judgement: Judgement, moment: int, farm: Farm, now: int) -> int:
    """The time of the series that stands at a moment."""
    times = judgement.series.times
    index = int(np.searchsorted(times, moment, side="right")) - 1
    if index < 0 or moment >= ends(judgement.series)[-1]:
        first, last = (WallTime(int(t), now, farm.zone) for t in (times[0], times[-1]))
        stop(
            say(
                "--at is outside what is looked at: it goes from {first} to {last}",
                first=first,
                last=last,
            )
        )
    return index


def _setup(judgement: Judgement, field: str, setup: str | None, time_index: int) -> int:
    plan = judgement.plan
    index = plan.fields.index(field)
    usable = [name for s, name in enumerate(plan.setups) if plan.allowed[index, s]]
    if setup is None:
        chosen = choose_setup(judgement, index, time_index)
        if chosen is None:
            stop(say("field '{field}' has no setup; the farm file must name one", field=field))
        return chosen
    if setup not in usable:
        stop(
            say(
                "{field} is not sprayed with a setup '{setup}'; it may be with {usable}",
                field=field,
                setup=setup,
                usable=", ".join(usable),
            )
        )
    return plan.setups.index(setup)
