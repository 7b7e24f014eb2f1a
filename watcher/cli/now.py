"""``watcher now``, ``watcher why``, ``watcher sources``: what the log says at this moment."""

import time
from collections.abc import Sequence
from typing import Annotated
from zoneinfo import ZoneInfo

import typer
from rich.markup import escape
from sqlalchemy.orm import Session

from watcher.cli.context import answer, open_farm, open_log, open_settings, out, stop, table_of
from watcher.cli.language import in_words
from watcher.cli.names import no_such
from watcher.farm import Farm
from watcher.i18n.message import NOTHING, Message, WallTime, joined, say
from watcher.jobs import queries
from watcher.jobs.queries import JobView
from watcher.judge.best_starts import best_starts
from watcher.judge.chances import FarmChances
from watcher.judge.ranking import FieldNow, with_chances
from watcher.judge.reasons import reasons
from watcher.judge.remedies import ChangeKind
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.messages.chances import (
    basis_line,
    best_start_items,
    holds_until,
    open_until,
    tenths,
)
from watcher.messages.field_now import nothing_open, silent_wind, when_open
from watcher.messages.job_state import (
    ACTION_SHAPES,
    ACTION_WORDS,
    NOBODY_WATCHES,
    NOT_WATCHED,
    state_sentence,
)
from watcher.messages.reasons import Speaker
from watcher.messages.remedies import remedy_line
from watcher.messages.sources import findings, heard, state, strange_names
from watcher.messages.vocabulary import STATE_WORDS, STATUS_WORDS
from watcher.messages.weather import spoken_lines
from watcher.messages.words import CAUTION, SHAPES, takes
from watcher.service.chances import work_out
from watcher.service.health import is_watched, look, written_at
from watcher.service.job_actions import job_actions
from watcher.service.snapshot import Snapshot, take
from watcher.source_view import SourceView


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("now")(now)
    app.command("why")(why)
    app.command("sources")(sources)


def now() -> None:
    """Say which fields to spray now, in which order, and why the others must wait."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    speaker = Speaker(farm)
    with open_log(settings) as log, log.reading() as session:
        snapshot = _look(session, farm)
        chances = work_out(session, snapshot.judgement.plan, snapshot.timeline, snapshot.rigs)
        jobs = _jobs(session, snapshot, speaker)
    ranking = with_chances(snapshot.ranking, chances)
    if jobs:
        under_way = table_of(say("Job"), say("Field"), say("Do"), say("Why"), title=say("Jobs"))
        for number, field, word, why in jobs:
            under_way.add_row(str(number), field, in_words(word), in_words(why))
        out.print(under_way)
    sprayed = {field for _, field, _, _ in jobs}
    table = table_of(
        "",
        say("Field"),
        say("Setup"),
        say("Takes"),
        say("Open"),
        say("Holds"),
        say("Why"),
        title=say("Spray now"),
    )
    spray = [seen for seen in ranking.spray if seen.field not in sprayed]
    for place, seen in enumerate(spray, start=1):
        until: Message = NOTHING
        if seen.breaks_at is not None:
            until = open_until(seen.breaks_at, seen.chance, ranking.at, farm.zone)
        table.add_row(
            str(place),
            in_words(_field(seen)),
            seen.setup,
            in_words(takes(seen.duration_s, seen.left)),
            in_words(until),
            in_words(_holds(chances, seen, ranking.at, farm.zone)),
            in_words(_line(speaker, seen, ranking.at)),
        )
    if spray:
        out.print(table)
    else:
        answer(nothing_open(ranking))
        cause = silent_wind(snapshot.timeline)
        if cause is not None:
            answer(cause)
    rest = table_of(say("Field"), say("Opens"), say("Why not"), title=say("Not now"))
    rest.columns[0].no_wrap = True
    others = [seen for seen in ranking.rest if seen.field not in sprayed]
    for seen in others:
        of_field = snapshot.judgement.of_field(snapshot.judgement.plan.fields.index(seen.field))
        opens = when_open(of_field, seen, snapshot.timeline.now_index, speaker)
        rest.add_row(
            in_words(_field(seen)),
            in_words(opens),
            in_words(_why_not(speaker, snapshot, seen)),
        )
    if others:
        out.print(rest)
    _print_best_starts(snapshot, chances, [*spray, *others], farm.zone)
    if ranking.done:
        done = ", ".join(seen.field for seen in ranking.done)
        answer(say("Done or left out: {fields}.", fields=done))
    answer(CAUTION)


def _print_best_starts(
    snapshot: Snapshot, chances: FarmChances, fields: Sequence[FieldNow], zone: ZoneInfo
) -> None:
    """Print the best hours to begin of the next three days, and what all chances rest on."""
    now, shown = snapshot.timeline.now, [seen.chance for seen in fields]
    table = table_of(say("Field"), say("Best starts of the next three days"))
    for seen in fields:
        days = best_starts(snapshot.judgement, snapshot.timeline.now_index, chances, seen.field)
        lines = joined(best_start_items(days, now, zone), "\n")
        table.add_row(seen.field, in_words(lines))
        shown += [day.best for day in days]
    if chances.parts and fields:
        out.print(table)
    answer(basis_line(shown))


def _jobs(
    session: Session, snapshot: Snapshot, speaker: Speaker
) -> list[tuple[int, str, Message, Message]]:
    """Every open job: number, field, what to do, why."""
    now = snapshot.timeline.now
    watched = is_watched(session, now)
    actions = job_actions(session, speaker, snapshot) if watched else {}
    rows = []
    for view in queries.opened(session, now):
        job = view.job
        state = actions.get(job.id)
        word, why = NOT_WATCHED if watched else NOBODY_WATCHES
        if state is not None:
            word = joined([ACTION_SHAPES[state.action], ACTION_WORDS[state.action]], " ")
            why = state_sentence(speaker, job.field, state, now)
            why = joined([why, *_first_remedy(speaker, snapshot, view)], "; ")
        rows.append((job.id, job.field, word, why))
    return rows


def _first_remedy(speaker: Speaker, snapshot: Snapshot, view: JobView) -> list[Message]:
    """The first thing that would help a job; none where it need not stop."""
    plan, now, job = snapshot.judgement.plan, snapshot.timeline.now, view.job
    at = plan.fields.index(job.field), plan.setups.index(job.setup), snapshot.timeline.now_index
    found = snapshot.remedies(at, left_s=job.planned_s - view.sprayed_s, busy=(job.field,))
    return [remedy_line(speaker, remedy, now) for remedy in found[:1]]


def _why_not(speaker: Speaker, snapshot: Snapshot, seen: FieldNow) -> Message:
    """Why a field is not open, and the first thing to do about it; when it opens stands beside."""
    plan, now = snapshot.judgement.plan, snapshot.timeline.now
    line = _line(speaker, seen, now)
    if seen.setup is None:
        return line
    at = plan.fields.index(seen.field), plan.setups.index(seen.setup), snapshot.timeline.now_index
    doing = [r for r in snapshot.remedies(at) if r.changes[0].kind is not ChangeKind.WAIT]
    return joined([line, *(remedy_line(speaker, r, now) for r in doing[:1])], "; ")


def _field(seen: FieldNow) -> Message:
    return joined([f"{SHAPES[seen.status]} {seen.field}", STATUS_WORDS[seen.status]])


def _holds(chances: FarmChances, seen: FieldNow, at: int, zone: ZoneInfo) -> Message:
    """How likely a job begun now holds to its end; not known where no forecast tells."""
    by_start = chances.of(seen.field, seen.setup or "")
    if not by_start:
        return tenths(None)
    return holds_until(by_start[0].chance, by_start[0].ends_at, at, zone)


def _line(speaker: Speaker, seen: FieldNow, at: int) -> Message:
    reason = speaker.reason(seen.field, seen.binding)
    if seen.can_wait_until is None:
        return reason
    until = WallTime(seen.can_wait_until, at, speaker.farm.zone)
    return joined([reason, say("can wait for {time}", time=until)], "; ")


def why(
    field: Annotated[str, typer.Argument(help="The field's name.")],
    setup: Annotated[
        str | None, typer.Option(help="A setup's name; the recommended one when left out.")
    ] = None,
) -> None:
    """Show every limit of one field now: value, bound, where it comes from, margin left."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    if field not in farm.config.fields:
        stop(no_such("field", field, farm.config.fields))
    if setup is not None and setup not in farm.config.setups:
        stop(no_such("setup", setup, farm.config.setups))
    with open_log(settings) as log, log.reading() as session:
        snapshot = _look(session, farm)
    plan = snapshot.judgement.plan
    seen = snapshot.ranking.every[field]
    chosen = setup or seen.setup or plan.setups[0]
    case = plan.fields.index(field), plan.setups.index(chosen), snapshot.timeline.now_index
    status = Status(int(snapshot.judgement.status[case]))
    speaker = Speaker(farm)
    heading = say(
        "{field} with {setup}: {status}", field=field, setup=chosen, status=STATUS_WORDS[status]
    )
    answer(joined([SHAPES[status], heading], " "))
    for reason in reasons(snapshot.judgement, *case):
        state = in_words(STATE_WORDS[reason.stand])
        answer(joined([f"  {state:12}", speaker.reason(field, reason)], ""))
    for line in spoken_lines(snapshot.timeline.of(field)):
        answer(line)
    answer(CAUTION)


def sources() -> None:
    """Show every source, how often it reports, and what is wrong with it and what to do."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    now = int(time.time())
    with open_log(settings) as log, log.reading() as session:
        health = look(session, farm, now=now, judged_at=written_at(session))
    table = table_of(say("Source"), "", say("Heard"), say("What is wrong, and what to do"))
    for source in health.sources:
        table.add_row(*_source_row(source, now, farm.zone))
    out.print(table)
    if "token" in health.strangers:
        answer(strange_names(health.strangers["token"], now))
    if health.clock is not None:
        answer(say("The clock: {why}.", why=health.clock))
    for line in health.wrong:
        answer(line)
    for source in health.sources:
        if source.attribution:
            answer(f"{source.name}: {source.attribution}")


def _source_row(source: SourceView, now: int, zone: ZoneInfo) -> tuple[str, ...]:
    found = findings(source, now, zone)
    wrong = joined([joined([f.sentence, f.mend], ". ") for f in found], "\n")
    shape, word = state(source)
    how = in_words(joined([shape, word], " "))
    return source.name, how, in_words(heard(source)), escape(in_words(wrong))


def _look(session: Session, farm: Farm) -> Snapshot:
    return take(session, FarmArrays.of(farm), int(time.time()))
