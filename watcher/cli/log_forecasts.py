"""``watcher log import-forecasts``: archived forecasts, to start with experience."""

import csv
import time
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.context import answer, open_farm, open_log, open_settings, stop
from watcher.cli.names import known
from watcher.i18n.message import say, say_n
from watcher.service import experience
from watcher.sources.feeds.archived import EAST, NORTH, ArchiveTable, BadArchiveError
from watcher.units import Kind
from watcher.weather.quantities import in_unit


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("import-forecasts")(import_forecasts)


def import_forecasts(
    file: Annotated[
        Path,
        typer.Argument(
            help="A .csv with a row for each run and hour (also .csv.gz), or the .json that "
            "Open-Meteo's previous runs answer."
        ),
    ],
    *,
    feed: Annotated[str, typer.Option(help="Which of the farm's feeds it is an archive of.")],
    station: Annotated[
        str | None, typer.Option(help="The station it is for the place of; not needed with one.")
    ] = None,
    run: Annotated[str, typer.Option(help="Heading of when a run was started.")] = "run (UTC)",
    valid: Annotated[
        str, typer.Option("--time", help="Heading of the hour that is foretold.")
    ] = "time (UTC)",
    column: Annotated[
        list[str] | None,
        typer.Option(
            help='What a column is: "wind=WIND_KMH:km/h"; may be given again. wind_east and '
            "wind_north are the components of a wind."
        ),
    ] = None,
    known_after: Annotated[
        int, typer.Option(min=0, max=24, help="Hours after its start when a run was in hand.")
    ] = 3,
) -> None:
    """Take a feed's archived forecasts in, so that chances start with experience.

    Import the station's readings of that time first.
    """
    settings = open_settings()
    farm = open_farm(settings.farm)
    known([feed], experience.feeds(farm), "source")
    there = experience.stations(farm)
    (place, *more) = known([station] if station else [], there, "station") or [""]
    if not place or more:
        stop(
            say(
                "say with --station whose place it is for; there are {names}",
                names=", ".join(there),
            )
        )
    table = ArchiveTable(run, valid, _columns(column or []), known_after * 3600)
    if not file.is_file():
        stop(say("there is no file {file}", file=str(file)))
    with open_log(settings) as log:
        try:
            count = experience.take_in(
                log, farm, file, feed=feed, station=place, table=table, now=int(time.time())
            )
        except (BadArchiveError, UnicodeDecodeError, OSError, EOFError, csv.Error) as error:
            stop(f"{file}: {error}")
    if not count:
        stop(
            say(
                "{file} tells nothing new: there must be hours of the last 90 days, over by three "
                "days, of which the log has winds of {station} and no forecasts yet; import its "
                "readings first",
                file=str(file),
                station=place,
            )
        )
    answer(
        say_n(
            "{n} past forecast of {feed} kept beside what {station} measured.",
            "{n} past forecasts of {feed} kept beside what {station} measured.",
            count,
            feed=feed,
            station=place,
        )
    )


def _columns(written: list[str]) -> dict[str, tuple[str, str]]:
    """Return heading and unit by quantity, or stop at what cannot be read."""
    found = {}
    for one in written:
        quantity, _, rest = one.partition("=")
        heading, _, unit = rest.rpartition(":")
        if not heading or not unit:
            stop(say('--column {written} is not like "wind=WIND_KMH:km/h"', written=one))
        try:
            if quantity in (EAST, NORTH):
                Kind.SPEED.scale(unit)
            else:
                in_unit(quantity, unit)
        except ValueError as error:
            stop(f"--column {one}: {error}")
        found[quantity] = heading, unit
    return found
