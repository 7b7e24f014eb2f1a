"""``watcher run``: the process that reads what others send first, then the watch.

A module of its own: that process is forked while little else is in memory, which it would hold as
well, and before anything is opened, which it must not hold.
"""

from contextlib import closing

import typer

from watcher.sources import tiles
from watcher.sources.body_process import BodyProcess
from watcher.sources.feeds import mapped_json, met_norway, nws, open_meteo

# What reads bodies, so that no reader has to import it.
from watcher.sources.stations import csv_station, sensorthings
from watcher.units import Kind

READERS = (csv_station, mapped_json, met_norway, nws, open_meteo, sensorthings, tiles)


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("run")(run)


def run() -> None:
    """Run the watch until it is stopped."""
    Kind.SPEED.scale("mph")  # the units library is read once, for all readers and the watch
    with closing(BodyProcess.fork()) as reader:
        from watcher.cli.running import watch  # noqa: PLC0415 - see above

        watch(reader)
