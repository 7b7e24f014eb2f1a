"""``watcher log …``: readings out of the log and into it, and pictures of them."""

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, TextIO

import typer
from sqlalchemy.orm import Session

from watcher.cli import log_charts, log_forecasts
from watcher.cli.context import answer, open_farm, open_log, open_settings, remark, stop, writing
from watcher.cli.names import known
from watcher.cli.time_range import From, To, stretch
from watcher.farm import Farm
from watcher.i18n.message import joined, say, say_n
from watcher.service.intake import Intake
from watcher.service.sites import site_of_log
from watcher.sources.base import Observations
from watcher.store import aggregates, weather
from watcher.store.database import Database
from watcher.store.export import write_observations, write_parquet
from watcher.store.export_means import write_means
from watcher.store.importing import BadTableError, read_csv, read_parquet
from watcher.store.parquet import NoParquetError
from watcher.weather.bins import HOUR_S, TEN_MINUTES_S
from watcher.weather.series import Site

app = typer.Typer(no_args_is_help=True, help="The log of weather.")
log_charts.add_to(app)
log_forecasts.add_to(app)


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="log")


class Format(StrEnum):
    """How a table of readings is written."""

    CSV = "csv"
    PARQUET = "parquet"


class Means(StrEnum):
    """Over how long means are taken."""

    TEN_MINUTES = "10min"
    HOUR = "hour"


_WIDTHS_S = {Means.TEN_MINUTES: TEN_MINUTES_S, Means.HOUR: HOUR_S}


@app.command("export")
def export(
    start: From,
    end: To,
    *,
    source: Annotated[
        list[str] | None, typer.Option(help="A source's name; may be given again. All without.")
    ] = None,
    to_file: Annotated[
        Path | None, typer.Option("--output", "-o", help="A file; printed without.")
    ] = None,
    form: Annotated[
        Format, typer.Option("--format", help="How the table is written.")
    ] = Format.CSV,
    means: Annotated[
        Means | None, typer.Option(help="Means in place of readings, as they are kept for good.")
    ] = None,
    qartod: Annotated[
        bool, typer.Option("--qartod", help="Add flags of IOOS QARTOD (csv): 1, 3, 4 or 9.")
    ] = False,
) -> None:
    """Write readings as a table, with units in the header and what quality control found."""
    if means is not None and form is Format.PARQUET:
        stop(say("means are written as csv; leave --format out"))
    settings = open_settings()
    farm = open_farm(settings.farm)
    names = known(source or [], list(farm.config.sources), "source")
    first, last = stretch(start, end, farm)
    with open_log(settings) as log, log.reading() as session:
        if means is not None:
            with _csv_file(to_file) as target:
                width_s = _WIDTHS_S[means]
                written = write_means(session, names, first, last, target, width_s=width_s)
            remark(say_n("{n} mean", "{n} means", written))
            return
        _warn_of_gone(session, names, first, last)
        if form is Format.CSV:
            with _csv_file(to_file) as target:
                written = write_observations(
                    session, names, first, last, target, with_qartod=qartod
                )
        elif to_file is None:
            stop(say("Parquet is no text to print; name a file with -o"))
        else:
            with writing(to_file), _parquet():
                written = write_parquet(session, names, first, last, to_file)
    remark(say_n("{n} reading", "{n} readings", written))


def _warn_of_gone(session: Session, sources: Sequence[str], start: int, end: int) -> None:
    gone = [s for s in sources if not aggregates.has_readings(session, s, start, end)]
    if gone:
        remark(
            say(
                "Readings of {sources} from then are no longer all kept (see keep_raw); "
                "--means hour writes what was made of them.",
                sources=", ".join(gone),
            )
        )


@app.command("import")
def import_table(
    file: Annotated[Path, typer.Argument(help="A .csv or .parquet file as 'export' writes it.")],
) -> None:
    """Take readings from a table into the log. What the log has already is not taken twice."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    with open_log(settings) as log:
        count, new = taken_in(log, farm, file, now=int(time.time()))
    answer(
        say_n(
            "{n} reading, {new} of them new to the log or other than it had them.",
            "{n} readings, {new} of them new to the log or other than it had them.",
            count,
            new=new,
        )
    )


def taken_in(log: Database, farm: Farm, file: Path, *, now: int) -> tuple[int, int]:
    """Take a table into a log, or stop; returns how many readings it holds, and how many are new.

    A table does not say when its readings came in: to a replay each comes when it was measured.
    Checked like all that comes in: a table may be of anybody's making. Block by block, so that a
    running watch need not wait for a long one.
    """
    if not file.is_file():
        stop(say("there is no file {file}", file=str(file)))
    new = count = 0
    intake = Intake(farm)
    for readings in _readings(file, _sites(log, farm)):
        with log.writing() as session:
            checked = intake.checked(session, readings, now)
            new += weather.add_observations(session, checked, None)
        count += len(readings.series)
    return count, new


def _sites(log: Database, farm: Farm) -> dict[str, Site]:
    """Where each source stands: as it last said itself, else as the farm file says."""
    with log.reading() as session:
        return {name: site_of_log(session, farm, name) for name in farm.config.sources}


def _readings(file: Path, sites: dict[str, Site]) -> Iterator[Observations]:
    now = int(time.time())
    try:
        if file.suffix.lower() == ".parquet":
            with _parquet():
                yield from read_parquet(file, sites, now)
        else:
            with file.open(newline="", encoding="utf-8-sig") as lines:
                yield from read_csv(lines, sites, now)
    except (BadTableError, UnicodeDecodeError) as error:
        mend = say("What came before it is in the log; mend it and import it again.")
        stop(joined([f"{file}: {error}", mend], "\n"))


@contextmanager
def _csv_file(file: Path | None) -> Iterator[TextIO]:
    if file is None:
        yield sys.stdout
        return
    with writing(file), file.open("w", newline="", encoding="utf-8") as opened:
        yield opened


@contextmanager
def _parquet() -> Iterator[None]:
    try:
        yield
    except NoParquetError as error:
        stop(str(error))
