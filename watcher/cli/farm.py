"""``watcher check`` and ``watcher schema``: the farm file."""

import json
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.opening import open_farm, open_settings, out
from watcher.farm.schema import json_schema
from watcher.settings import problems

FarmPath = Annotated[
    Path | None, typer.Argument(help="The farm file; the one in the settings when left out.")
]


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("check")(check)
    app.command("schema")(schema)


def check(farm_file: FarmPath = None) -> None:
    """Check the farm file and its boundaries; lists everything that is wrong, with its mend."""
    settings = open_settings()
    farm = open_farm(farm_file or settings.farm)
    found = problems(settings, farm)
    told = farm.told
    out.print(
        f"{told.farm.name}: {len(told.fields)} fields, {len(told.neighbours)} neighbours, "
        f"{len(told.setups)} setups, {len(told.sources)} sources. All in order.",
        markup=False,
    )
    for said in found.errors:
        out.print(f"Before 'watcher run': {said}", markup=False)
    for said in found.warnings:
        out.print(f"Note: {said}", markup=False)


def schema() -> None:
    """Print the JSON Schema of the farm file, for editors."""
    typer.echo(json.dumps(json_schema(), indent=2))
