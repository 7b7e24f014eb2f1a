"""``watcher check``, ``watcher schema`` and ``watcher convert``: the farm file."""

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.context import BAD_INPUT, answer, open_farm, open_settings
from watcher.cli.speech import in_words, spoken
from watcher.farm.problems import did_you_mean
from watcher.farm.read_file import read_draft, text_of
from watcher.farm.rules.convert import as_toml, window_as_rules
from watcher.farm.schema import json_schema
from watcher.i18n.message import Param, joined, say, say_n
from watcher.service.farm_check import estimate_notes, law_problems
from watcher.settings import problems

FarmPath = Annotated[
    Path | None, typer.Argument(help="The farm file; the one in the settings when left out.")
]


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("check")(check)
    app.command("schema")(schema)
    app.command("convert")(convert)


def check(farm_file: FarmPath = None) -> None:
    """Check farm file, boundaries and settings; lists everything that is wrong, with its mend."""
    settings = open_settings()
    farm = open_farm(farm_file or settings.farm)
    found = problems(settings, farm)
    config = farm.config
    today = datetime.now(farm.zone).date()
    broken = [*law_problems(farm, farm_file or settings.farm, today)]
    counts = (
        say_n("{n} field", "{n} fields", len(config.fields)),
        say_n("{n} neighbour", "{n} neighbours", len(config.neighbours)),
        say_n("{n} setup", "{n} setups", len(config.setups)),
        say_n("{n} source", "{n} sources", len(config.sources)),
    )
    if broken:
        state = say("To mend:")
    else:
        state = say("The settings have mistakes:") if found.wrong else say("All in order.")
    answer(joined([config.farm.name, ": ", joined(counts), ". ", state], ""))
    for problem in broken:
        answer(problem.render(spoken()))
    for mistake in found.wrong:
        answer(mistake)
    for mistake in found.unset:
        answer(say("Before 'watcher run': {mistake}", mistake=mistake))
    for warning in (*found.warnings, *estimate_notes(farm)):
        answer(say("Note: {warning}", warning=warning))
    if broken or found.wrong:
        raise typer.Exit(BAD_INPUT)


def schema() -> None:
    """Print the JSON Schema of the farm file, for editors."""
    typer.echo(json.dumps(json_schema(), indent=2))


def convert(
    window: Annotated[str, typer.Argument(help="Name of a window.")],
    product: Annotated[str, typer.Argument(help="Name of the product whose label it is.")],
    farm_file: FarmPath = None,
) -> None:
    """Print a window's limits as rules of a product; changes no file."""
    draft = read_draft(farm_file or open_settings().farm, text_of)
    limits = draft.at("windows", window)
    if not isinstance(limits, dict):
        mend = did_you_mean(window, draft.names("windows"), say("windows"))
        problem = draft.problem(f"windows.{window}", say("there is none"), mend)
        answer(problem.render(spoken()))
        raise typer.Exit(BAD_INPUT)
    rules, stays = window_as_rules(limits)
    typer.echo(as_toml(rules, f"products.{product}"))
    count = say_n("{n} rule", "{n} rules", len(rules))
    kept: Param = ", ".join(stays) if stays else say("nothing")
    left = say(
        "{count}. What stays in [windows.{window}]: {kept}", count=count, window=window, kept=kept
    )
    typer.echo(f"\n# {in_words(left)}")
