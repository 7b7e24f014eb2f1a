"""``watcher plan``: which field, with which sprayer, in which order, until the horizon."""

import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Annotated

import typer
from sqlalchemy.orm import Session

from watcher.cli.context import answer, open_farm, open_log, open_settings, out, stop, table_of
from watcher.cli.language import in_words
from watcher.cli.names import no_such
from watcher.farm import Farm
from watcher.i18n.message import NOTHING, WallTime, joined, say
from watcher.judge.ranking import Ranking
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.chances import tenths
from watcher.messages.day_plan import (
    NO_PLAN,
    before,
    expected,
    how_planned,
    load_lines,
    loses,
    only_part,
    plan_status,
    refusal,
    why_out,
)
from watcher.messages.reasons import Speaker
from watcher.messages.vocabulary import LIMIT_WORDS
from watcher.messages.words import CAUTION
from watcher.planning.day_plan import Wishes, loss
from watcher.planning.kept_plan import PlanNow
from watcher.service.chances import work_out
from watcher.service.day_plan import day_ends, wishes_of, worked_out
from watcher.service.snapshot import Snapshot, take


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("plan")(plan)


def plan(
    first: Annotated[str | None, typer.Option(help="The field to spray first.")] = None,
    without: Annotated[
        list[str] | None, typer.Option(help="A field to leave out; may be given again.")
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(help="FIELD=SPRAYER: the only sprayer for a field; may be given again."),
    ] = None,
    home_by: Annotated[
        str | None,
        typer.Option(help="Nothing may run later: 17:00, on the farm's clock."),
    ] = None,
) -> None:
    """Plan the coming hours: which field, with which sprayer, in which order, how likely it holds.

    Also says what each other first field would lose.
    """
    settings = open_settings()
    farm = open_farm(settings.farm)
    now = int(time.time())
    until = _moment(farm, now, home_by)
    asked = _wishes(farm, first, without or (), only or (), until)
    with open_log(settings) as log, log.reading() as session:
        snapshot = take(session, FarmArrays.of(farm), now)
        plan = snapshot.plan
        best = None
        if plan is None or plan.old or asked != Wishes():
            wishes = _with(wishes_of(session, farm, now)[1], asked)
            best, plan = _worked_out(session, snapshot, wishes)
    if plan.kept.refused is not None and asked.first is not None:
        stop(refusal(plan.kept.refused))
    if not plan.steps and not plan.kept.plan.left_out:
        answer(NO_PLAN)
        answer(CAUTION)
        return
    _show(Speaker(farm), plan, snapshot.ranking)
    if asked.first is not None and best is not None:
        lost = loss(best.kept.plan, plan.kept.plan)
        answer(say("Against the best order: {loss}.", loss=loses(lost)))
    for line in (how_planned(), CAUTION):
        if line != NOTHING:
            answer(line)


def _worked_out(session: Session, snapshot: Snapshot, wishes: Wishes) -> tuple[PlanNow, PlanNow]:
    """Work the plan out here and now: without the wish to begin with a field, and with it."""
    chances = work_out(session, snapshot.judgement.plan, snapshot.timeline)
    bare = worked_out(session, snapshot, chances, replace(wishes, first=None))
    return bare, bare if wishes.first is None else worked_out(session, snapshot, chances, wishes)


def _with(kept: Wishes, asked: Wishes) -> Wishes:
    """Return the wishes that are kept with those of this command, which come first."""
    at_home = asked if asked.home_by is not None else kept
    return replace(
        kept,
        first=asked.first or kept.first,
        not_these=asked.not_these,
        only_with={**kept.only_with, **asked.only_with},
        home_by=at_home.home_by,
        home_until=at_home.home_until,
    )


def _wishes(
    farm: Farm, first: str | None, without: Sequence[str], only: Sequence[str], until: int | None
) -> Wishes:
    config = farm.config
    pairs = dict(pair.partition("=")[::2] for pair in only)
    for field in (*([first] if first else []), *without, *pairs):
        if field not in config.fields:
            stop(no_such("field", field, config.fields))
    for sprayer in pairs.values():
        if sprayer not in config.sprayers:
            stop(no_such("sprayer", sprayer, config.sprayers))
    if first is not None and first in without:
        stop(say("{field} cannot be first and left out. Drop one of the two.", field=first))
    return Wishes(
        first,
        frozenset(without),
        only_with=pairs,
        home_by=until,
        home_until=None if until is None else day_ends(farm, until),
    )


def _moment(farm: Farm, now: int, clock: str | None) -> int | None:
    if clock is None:
        return None
    try:
        wanted = datetime.strptime(clock, "%H:%M").time()  # noqa: DTZ007 -- a clock of the farm
    except ValueError:
        stop(say("--home-by {clock}: write a time of the day as 17:00.", clock=clock))
    today = datetime.fromtimestamp(now, farm.zone)
    at = datetime.combine(today.date(), wanted, farm.zone)
    if at <= today:
        at = datetime.combine(today.date() + timedelta(days=1), wanted, farm.zone)
    return int(at.timestamp())


def _show(speaker: Speaker, plan: PlanNow, ranking: Ranking) -> None:
    farm, now = speaker.farm, plan.now
    answer(expected(plan.steps))
    if plan.kept.refused is not None:
        answer(refusal(plan.kept.refused))
    for job in plan.kept.in_hand:
        end = WallTime(job.until, now, farm.zone)
        line = say(
            "{sprayer} is in {field} until about {end}.",
            sprayer=job.sprayer,
            field=job.field,
            end=end,
        )
        answer(line)
    for sprayer in dict.fromkeys(step.sprayer for step in plan.steps):
        own = [step for step in plan.steps if step.sprayer == sprayer]
        drivers = [say("Driver")] if any(step.driver for step in own) else []
        table = table_of(
            say("Start"),
            say("End"),
            say("Field"),
            *drivers,
            say("Setup"),
            say("Holds"),
            say("May end it"),
            say("Before it"),
            say("Loads"),
            title=sprayer,
        )
        for step in own:
            ends = NOTHING if step.ended_by is None else LIMIT_WORDS[step.ended_by]
            table.add_row(
                in_words(WallTime(step.starts_at, now, farm.zone)),
                in_words(WallTime(step.ends_at, now, farm.zone)),
                step.field,
                *([step.driver] if drivers else []),
                step.setup,
                in_words(tenths(step.chance)),
                in_words(ends),
                in_words(joined([x for x in (only_part(step), before(step)) if x != NOTHING])),
                in_words(joined(load_lines(speaker, step), " ")),
            )
        out.print(table)
    left = table_of(say("Field"), say("Why not"), title=say("Not planned"))
    out_of_it = {f: why for f, why in plan.kept.plan.left_out.items() if f not in plan.done}
    for field, why in out_of_it.items():
        left.add_row(field, in_words(why_out(why, field, speaker, ranking)))
    if out_of_it:
        out.print(left)
    if plan.kept.loses:
        table = table_of(say("First instead"), say("Against this plan"), title=say("Another order"))
        for field, lost in plan.kept.loses.items():
            table.add_row(field, in_words(loses(lost)))
        out.print(table)
    answer(plan_status(plan, speaker))
