"""``watcher skill``: what was said of jobs against what came of them."""

import time
from typing import Annotated

import numpy as np
import typer
from rich.table import Table

from watcher.cli.context import answer, open_farm, open_log, open_settings, out, table_of
from watcher.cli.language import in_words
from watcher.forecasts.scores import Bar, Skill
from watcher.i18n.message import Message, say
from watcher.messages.skill import THAN_FORECAST, THAN_USUAL, saved, summary
from watcher.messages.verification import SkillPart, parts
from watcher.messages.words import CAUTION
from watcher.service.skill import feed_errors, skill

DAY_S = 86_400


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("skill")(show)


def show(
    days: Annotated[int, typer.Option(min=1, help="How many days to look back.")] = 365,
) -> None:
    """Compare the chances that were said of jobs with what came of them."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    since = int(time.time()) - days * DAY_S
    with open_log(settings) as log, log.reading() as session:
        found = skill(session, farm, since)
        errors = feed_errors(session, farm, since)
    answer(summary(found))
    if found.enough:
        out.print(_reliability(found))
        _print_bar(THAN_USUAL, found.against_usual)
        _print_bar(THAN_FORECAST, found.against_forecast)
    if errors is not None:
        for part in parts(errors.feeds, errors.least, errors.rain, farm.config.farm.units):
            _print_part(part)
    answer(CAUTION)


def _reliability(found: Skill) -> Table:
    table = table_of(
        say("Said"),
        say("Held"),
        say("9 in 10 draws of days"),
        "",
        say("Jobs"),
        title=say("Said against held"),
    )
    for one in found.bins:
        table.add_row(
            f"{one.said:.0%}",
            f"{one.held.value:.0%}",
            f"{one.held.low:.0%} – {one.held.high:.0%}",
            "█" * round(20 * one.held.value),
            str(one.count),
        )
    return table


def _print_bar(title: Message, bar: Bar | None) -> None:
    if bar is not None and np.isfinite(bar.value):
        answer(saved(title, bar))


def _print_part(part: SkillPart) -> None:
    answer(part.title)
    for line in (*part.lines, part.meaning):
        answer(line)
    for sheet in part.sheets:
        table = table_of(*sheet.head, title=sheet.title)
        for row in sheet.rows:
            table.add_row(*map(in_words, row))
        out.print(table)
