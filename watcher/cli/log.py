"""``watcher log …``: the log of weather."""

import sys
from contextlib import nullcontext
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.opening import err, open_farm, open_log, open_settings, stop
from watcher.farm import Farm
from watcher.store.export import write_observations

app = typer.Typer(no_args_is_help=True, help="The log of weather.")


@app.command("export")
def export(
    start: Annotated[str, typer.Option("--from", help="First moment, 2026-06-01 or with a time.")],
    end: Annotated[str, typer.Option("--to", help="Moment after the last, in the same way.")],
    source: Annotated[
        list[str] | None, typer.Option(help="A source's name; may be given again. All without.")
    ] = None,
    to_file: Annotated[
        Path | None, typer.Option("--output", "-o", help="A file; printed without.")
    ] = None,
) -> None:
    """Write readings as CSV, with units in the header and what quality control found."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    names = source or list(farm.told.sources)
    unknown = [name for name in names if name not in farm.told.sources]
    if unknown:
        stop(f"no source {unknown[0]!r}; the farm file has {', '.join(farm.told.sources)}")
    first, last = _moment(start, "--from", farm), _moment(end, "--to", farm)
    if last <= first:
        stop(f"--to {end} is not after --from {start}; swap them")
    target = to_file.open("w", newline="", encoding="utf-8") if to_file else nullcontext(sys.stdout)
    with open_log(settings) as log, log.reading() as session, target as out:
        written = write_observations(session, names, first, last, out)
    err.print(f"{written} readings")


def _moment(text: str, option: str, farm: Farm) -> int:
    """Read a moment on the farm's clock, or with the offset it is written with."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        stop(f'{option} {text!r} is no date or time; write "2026-06-01" or "2026-06-01T14:30"')
    return int((moment if moment.tzinfo else moment.replace(tzinfo=farm.zone)).timestamp())
