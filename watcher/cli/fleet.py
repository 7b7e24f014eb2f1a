"""``watcher fleet …``: several farms on one log."""

from typing import Annotated

import typer

from watcher.cli.context import answer, open_log, open_settings, out, stop, table_of
from watcher.cli.language import in_words
from watcher.i18n.message import say
from watcher.service.fleet import FleetError, add_farm, farms_of

# Whichever farm the settings are for, the log is asked about them all.
_OF_ALL = {"farm_number": 1}

app = typer.Typer(no_args_is_help=True, help="Several farms on one log, on PostgreSQL.")


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="fleet")


@app.command("list")
def list_farms() -> None:
    """Show the farms that share the log, with their numbers."""
    with open_log(open_settings().model_copy(update=_OF_ALL)) as log:
        found = farms_of(log)
    table = table_of(say("number"), say("name"))
    for number, name in found:
        table.add_row(str(number), name)
    out.print(table)


@app.command("add")
def add(
    name: Annotated[str, typer.Argument(help="Small letters, digits, - and _.")],
) -> None:
    """Add a farm to the log."""
    with open_log(open_settings().model_copy(update=_OF_ALL)) as log:
        try:
            number = add_farm(log, name)
        except FleetError as error:
            stop(in_words(error.text))
    answer(
        say(
            "{name} is farm {number} of this log. It is watched by a process with a farm file, a "
            "state folder and a port of its own, and with WATCHER_FARM_NUMBER={number}.",
            name=name,
            number=str(number),
        )
    )
