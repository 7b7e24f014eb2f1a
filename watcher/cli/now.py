"""``watcher now``, ``watcher why``, ``watcher sources``: what the log says at this moment."""

import time
from typing import Annotated

import typer
from rich.table import Table

from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.sources import DISTRUSTED, quantity_names
from watcher.alerts.wording.weather import spoken_lines
from watcher.alerts.wording.words import CAUTION, SHAPES, clock, span
from watcher.cli.opening import open_farm, open_log, open_settings, out, stop
from watcher.farm import Farm
from watcher.judge.plan import Plan
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import reasons
from watcher.judge.status import Status
from watcher.service.health import SourceNow, look
from watcher.service.picture import Picture, take
from watcher.settings import Settings


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("now")(now)
    app.command("why")(why)
    app.command("sources")(sources)


def now() -> None:
    """Say which fields to spray now, in which order, and why the others must wait."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    picture = _picture(settings, farm)
    speaker, ranking = Speaker(farm), picture.ranking
    table = Table("", "Field", "Setup", "Takes", "Until", "Why", title="Spray now")
    for place, seen in enumerate(ranking.spray, start=1):
        until = clock(seen.breaks_at, ranking.at, farm.zone) if seen.breaks_at else ""
        table.add_row(
            str(place),
            f"{SHAPES[seen.status]} {seen.field}, {seen.status.word}",
            seen.setup,
            span(seen.duration_s),
            until,
            _line(speaker, seen, ranking.at),
        )
    if ranking.spray:
        out.print(table)
    else:
        out.print("No field is fit to be sprayed now.")
    rest = Table("Field", "Opens", "Why not", title="Not now")
    for seen in ranking.rest:
        opens = clock(seen.opens_at, ranking.at, farm.zone) if seen.opens_at else "not in sight"
        rest.add_row(
            f"{SHAPES[seen.status]} {seen.field}, {seen.status.word}",
            opens,
            _line(speaker, seen, ranking.at),
        )
    if ranking.rest:
        out.print(rest)
    if ranking.done:
        out.print(f"Done: {', '.join(seen.field for seen in ranking.done)}.", markup=False)
    out.print(CAUTION, markup=False)


def _line(speaker: Speaker, seen: FieldNow, at: int) -> str:
    said = speaker.reason(seen.field, seen.binding)
    if seen.can_wait_until is not None:
        said += f"; can wait for {clock(seen.can_wait_until, at, speaker.farm.zone)}"
    return said


def why(
    field: Annotated[str, typer.Argument(help="The field's name.")],
    setup: Annotated[
        str | None, typer.Option(help="A setup's name; the recommended one when left out.")
    ] = None,
) -> None:
    """Show every limit of one field now: value, bound, where it comes from, room left."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    if field not in farm.told.fields:
        stop(f"no field {field!r}; the farm file has {', '.join(farm.told.fields)}")
    if setup is not None and setup not in farm.told.setups:
        stop(f"no setup {setup!r}; the farm file has {', '.join(farm.told.setups)}")
    picture = _picture(settings, farm)
    plan = picture.judgement.plan
    seen = picture.ranking.every[field]
    chosen = setup or seen.setup or plan.setups[0]
    case = plan.fields.index(field), plan.setups.index(chosen), picture.outlook.now_index
    status = Status(int(picture.judgement.status[case]))
    speaker = Speaker(farm)
    out.print(f"{SHAPES[status]} {field} with {chosen}: {status.word}", markup=False)
    for reason in reasons(picture.judgement, *case):
        out.print(f"  {reason.stand.name.lower():8}{speaker.reason(field, reason)}", markup=False)
    for line in spoken_lines(picture.outlook.of(field)):
        out.print(line, markup=False)
    out.print(CAUTION, markup=False)


def sources() -> None:
    """Show every source, how old its newest word is, and what is wrong with it."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    with open_log(settings) as log, log.reading() as session:
        health = look(session, farm, now=int(time.time()), judged_at=None)
    table = Table("Source", "Age", "", "Failed", "What is wrong")
    for source in health.sources:
        table.add_row(*_source_row(source))
    out.print(table)
    for source in health.sources:
        if source.attribution:
            out.print(f"{source.name}: {source.attribution}", markup=False)


def _source_row(source: SourceNow) -> tuple[str, ...]:
    age = "never heard" if source.age_s is None else span(source.age_s)
    state = "stale, not relied on" if source.stale else "fresh"
    doubted = ""
    if source.distrusted:
        state = "not believed" if not source.stale else state
        doubted = f"{quantity_names(source.distrusted)} {DISTRUSTED}"
    failed = f"{source.failures_in_a_row} times" if source.failures_in_a_row else ""
    return source.name, age, state, failed, "; ".join(filter(None, (source.why, doubted)))


def _picture(settings: Settings, farm: Farm) -> Picture:
    with open_log(settings) as log, log.reading() as session:
        return take(session, Plan.of(farm), int(time.time()))
