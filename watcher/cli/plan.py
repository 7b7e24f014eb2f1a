"""``watcher plan``: which field, with which sprayer, in which order, until the horizon."""

import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Annotated

import typer

from watcher.cli.context import answer, open_farm, open_log, open_settings, out, stop, table_of
from watcher.cli.names import no_such
from watcher.cli.speech import in_words
from watcher.farm import Farm
from watcher.i18n.message import NOTHING, Clock, say
from watcher.jobs import queries
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.chances import basis, tenths
from watcher.messages.day_plan import LEFT_OUT, NO_PLAN, expected, how_planned, loses
from watcher.messages.words import CAUTION, span
from watcher.planning.day_plan import DayPlan, Planner, WishError, Wishes
from watcher.service.chances import work_out
from watcher.service.planning import Busy, planner
from watcher.service.snapshot import take

_SOLVER_S = 8.0


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
    wishes = _wishes(farm, first, without or (), only or (), _moment(farm, now, home_by))
    with open_log(settings) as log, log.reading() as session:
        picture = take(session, FarmArrays.of(farm), now)
        arrays = picture.judgement.plan
        chances = work_out(session, arrays, picture.outlook)
        busy = [
            Busy(v.job.sprayer, v.job.field, int(now + max(v.job.planned_s - v.sprayed_s, 0.0)))
            for v in queries.opened(session, now)
        ]
    done = {seen.field for seen in picture.ranking.done}
    plans = planner(arrays, chances, done=done, busy=busy)
    if plans is None:
        answer(NO_PLAN)
        answer(CAUTION)
        return
    try:
        found = plans.plan(wishes, at_most_s=_SOLVER_S)
    except WishError as error:
        stop(
            say(
                "{field} cannot be first: no start in which it is likely enough to hold fits your "
                "wishes. Leave --first away, or give it more time.",
                field=error.field,
            )
        )
    _show(farm, found, now)
    if found.steps:
        answer(say("Holds: {basis}.", basis=basis(min(p.past_forecasts for p in chances.parts))))
        _others(plans, found, wishes)
    for line in (how_planned(), CAUTION):
        if line != NOTHING:
            answer(line)


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
    return Wishes(first, frozenset(without), pairs, until)


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


def _show(farm: Farm, found: DayPlan, now: int) -> None:
    answer(expected(found))
    for sprayer in found.order:
        table = table_of(
            say("Start"),
            say("End"),
            say("Field"),
            say("Setup"),
            say("Holds"),
            say("Before it"),
            title=sprayer,
        )
        for step in found.steps:
            if step.sprayer == sprayer:
                table.add_row(
                    in_words(Clock(step.starts_at, now, farm.zone)),
                    in_words(Clock(step.ends_at, now, farm.zone)),
                    step.field,
                    step.setup,
                    in_words(tenths(step.chance)),
                    in_words(span(step.change_s) if step.change_s else NOTHING),
                )
        out.print(table)
    if found.left_out:
        left = table_of(say("Field"), say("Why not"), title=say("Not planned"))
        for field, why in found.left_out.items():
            left.add_row(field, in_words(LEFT_OUT[why]))
        out.print(left)


def _others(plans: Planner, found: DayPlan, wishes: Wishes) -> None:
    """Say what each other first field would lose against the plan."""
    if wishes.first is not None:
        best = plans.plan(replace(wishes, first=None), at_most_s=_SOLVER_S)
        answer(say("Against the best order: {loss}.", loss=loses(best, found)))
        return
    others = plans.losing(found, wishes)
    if not others:
        return
    table = table_of(say("First instead"), say("Against this plan"), title=say("Another order"))
    for field, other in others.items():
        table.add_row(field, in_words(loses(found, other)))
    out.print(table)
