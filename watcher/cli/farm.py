"""``watcher check``, ``watcher schema`` and ``watcher convert``: the farm file."""

import json
import time
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.context import BAD_INPUT, answer, has_log, open_farm, open_log, open_settings
from watcher.cli.language import in_words, spoken
from watcher.farm import Farm
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import did_you_mean
from watcher.farm.read_file import read_draft, text_of
from watcher.farm.rules.convert import as_toml, window_as_rules
from watcher.farm.schema import json_schema
from watcher.i18n.message import Message, Name, Number, Param, joined, say, say_n
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.vocabulary import LIMIT_WORDS
from watcher.service.farm_check import estimate_notes, law_problems, readings_to_settle
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.service.open_shares import LEAST_HOURS, SELDOM, OpenShare, open_shares
from watcher.service.written_in import secret_notes
from watcher.settings import Settings, problems

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
    secrets = Secrets.of(settings)
    kept = {kind.value: secrets.names(kind) for kind in SecretKind}
    found = problems(settings, farm, kept)
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
    for warning in (
        *secrets.troubles,
        *found.warnings,
        *secret_notes(FarmTexts.of_files(farm_file or settings.farm)),
        *readings_to_settle(farm),
        *estimate_notes(farm),
    ):
        answer(say("Note: {warning}", warning=warning))
    if broken or found.wrong:
        raise typer.Exit(BAD_INPUT)
    _say_how_often(settings, farm)


def _say_how_often(settings: Settings, farm: Farm) -> None:
    """Say in which share of its season's hours each field opens, by the weather of the log."""
    shares = None
    if has_log(settings):
        with open_log(settings) as log, log.reading() as session:
            shares = open_shares(session, FarmArrays.of(farm), int(time.time()))
    if shares is None:
        answer(
            say(
                "How often each field opens is not known: the log has under {days} days of the "
                "season. 'watcher log import' brings in what a station measured before.",
                days=LEAST_HOURS // 24,
            )
        )
        return
    answer(
        say(
            "Open for a whole job, by the weather of the log, {months} of the last 12 months:",
            months=say("October to March") if shares.south else say("April to September"),
        )
    )
    for one in shares.fields:
        answer(_how_often(one))
    for one in shares.fields:
        if one.throttled and one.by is not None:
            answer(
                say(
                    "Note: {field} opens in under {least} of these hours; most often it is {limit} "
                    "that stands in the way. Allow it another setup, or loosen that where it is "
                    "your own",
                    field=Name(one.field),
                    least=Number(f"{SELDOM:.0%}"),
                    limit=LIMIT_WORDS[one.by],
                )
            )


def _how_often(one: OpenShare) -> Message:
    field, share = Name(one.field), Number(f"{one.share:.1%}")
    if one.known:
        return say(
            "  {field}: {share} of {hours} h", field=field, share=share, hours=f"{one.hours:.0f}"
        )
    return say(
        "  {field}: not known in {share} of the hours ({limit}), and so not how often",
        field=field,
        share=Number(f"{one.unknown:.0%}"),
        limit=say("too little weather") if one.by is None else LIMIT_WORDS[one.by],
    )


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
