"""``watcher farm …``: the whole farm into one file, and out of it elsewhere."""

import os
import time
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.context import answer, open_log, open_settings, stop, writing
from watcher.cli.language import speak, spoken
from watcher.cli.startup import VERSIONS
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError
from watcher.i18n.message import joined, say, say_n
from watcher.service.farm_bundle import BundleError, read_bundle
from watcher.service.farm_check import law_problems
from watcher.service.farm_moving import bring_in, take_out
from watcher.service.farm_versions import FarmVersions
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.service.written_in import secret_notes
from watcher.settings import problems

app = typer.Typer(no_args_is_help=True, help="The whole farm in one file, out and in again.")


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="farm")


@app.command("export")
def export(
    to_file: Annotated[Path, typer.Option("--output", "-o", help="The file, ending in .zip.")],
    *,
    readings: Annotated[
        bool, typer.Option("--readings", help="With every reading the log still has whole.")
    ] = False,
) -> None:
    """Write farm file, boundaries, versions, jobs and records into one file; no secrets."""
    settings = open_settings()
    versions = FarmVersions(settings.state_dir / VERSIONS)
    try:
        texts = FarmTexts.of_files(settings.farm)
        with open_log(settings) as log, writing(to_file), to_file.open("w+b") as into:
            take_out(into, log, texts, versions, now=int(time.time()), readings=readings)
    except FarmFileError as error:
        to_file.unlink(missing_ok=True)
        stop(error.render(error.language or spoken()))
    answer(say("Written to {file}.", file=str(to_file)))


@app.command("import")
def import_farm(
    file: Annotated[Path, typer.Argument(help="A file as 'watcher farm export' writes it.")],
    *,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Overwrite the farm file, which is kept as a version."),
    ] = False,
) -> None:
    """Read a farm in: all of it, or nothing. The log must have neither jobs nor records."""
    settings = open_settings()
    versions, now = FarmVersions(settings.state_dir / VERSIONS), int(time.time())
    try:
        with file.open("rb") as archive:
            bundle = read_bundle(archive)
            farm = bundle.texts(settings.farm).load()
            speak(farm.language)
            with open_log(settings) as log:
                found = bring_in(bundle, log, settings.farm, versions, now=now, replace=replace)
    except BundleError as error:
        stop(error.text)
    except FarmFileError as error:
        stop(error.render(error.language or spoken()))
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else str(error)
        stop(say("the farm cannot be read in ({why})", why=why))
    counts = (
        say_n("{n} field", "{n} fields", found.fields),
        say_n("{n} version", "{n} versions", found.versions),
        say_n("{n} job", "{n} jobs", found.jobs),
        say_n("{n} entry of records", "{n} entries of records", found.entries),
        say_n("{n} reading", "{n} readings", found.readings),
    )
    answer(joined([farm.config.farm.name, joined(counts)], ": "))
    today = datetime.fromtimestamp(now, farm.zone).date()
    for problem in law_problems(farm, settings.farm, today):
        answer(problem.render(spoken()))
    secrets = Secrets.of(settings)
    known = problems(settings, farm, {kind.value: secrets.names(kind) for kind in SecretKind})
    for mistake in (*known.wrong, *known.unset):
        answer(say("Before 'watcher run': {mistake}", mistake=mistake))
    # An archive has no secrets: what waits for one here is said.
    for warning in (*known.warnings, *secret_notes(FarmTexts.of_files(settings.farm))):
        answer(say("Note: {warning}", warning=warning))
