"""``watcher replay``: what would have been said when, from the log or from a table."""

import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.context import answer, open_farm, open_log, open_settings, remark, stop
from watcher.cli.language import spoken
from watcher.cli.log import taken_in
from watcher.cli.time_range import From, To, remembered, stretch
from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.i18n.message import Number, joined, say, say_n
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.words import CAUTION
from watcher.service import logs
from watcher.service.replay import Said
from watcher.service.replay import replay as go_through
from watcher.service.replay_events import happened, known_before
from watcher.settings import Settings
from watcher.store import aggregates
from watcher.store.database import Database

_FIRST_LINES = 3


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("replay")(replay)


def replay(
    start: From,
    end: To,
    *,
    table: Annotated[
        Path | None,
        typer.Option("--csv", help="Past weather, .csv or .parquet as 'log export' writes it."),
    ] = None,
    every: Annotated[int, typer.Option(min=30, max=3600, help="Seconds between judgements.")] = 60,
    foresight: Annotated[
        bool | None,
        typer.Option(
            help="Take the weather that came for its forecast; so with a table, which has none."
        ),
    ] = None,
    whole: Annotated[bool, typer.Option("--whole", help="Print messages whole.")] = False,
) -> None:
    """Go through past days as the watch would have: print what it would have said, send nothing."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    logs.set_up("text", "error")
    first, last = stretch(start, end, farm)
    seeing = table is not None if foresight is None else foresight
    if seeing and not any(foretells(entry) for entry in farm.config.sources.values()):
        stop(say("no source of this farm forecasts; nobody can have foresight. Try --no-foresight"))
    count, began = 0, time.monotonic()
    with _log(settings, farm, table) as log:
        with log.reading() as session:
            first, last = remembered(session, first, last, farm)
        _warn_of_gone(log, farm, first, last)
        said = go_through(
            FarmArrays.of(farm),
            known_before(log, farm, first, foresight=seeing),
            happened(log, farm, first, last, foresight=seeing),
            start=first,
            end=last,
            every_s=every,
        )
        for message in said:
            _print(message, farm, whole)
            count += 1
    took = time.monotonic() - began
    days = Number(f"{(last - first) / 86_400:.1f}")
    seconds = Number(f"{took:.1f}")
    answer(
        say_n(
            "{n} message; {days} days in {seconds} s.",
            "{n} messages; {days} days in {seconds} s.",
            count,
            days=days,
            seconds=seconds,
        )
    )
    if seeing:
        answer(say("The forecasts were the weather as it came: better than any real one."))
    answer(CAUTION)


@contextmanager
def _log(settings: Settings, farm: Farm, table: Path | None) -> Iterator[Database]:
    """The log itself, or one made of a table for this once."""
    if table is None:
        with open_log(settings) as log:
            yield log
        return
    with (
        tempfile.TemporaryDirectory(prefix="watch-table-") as folder,
        closing(Database(f"sqlite:///{Path(folder) / 'table.db'}", lasting=False)) as log,
    ):
        log.upgrade()
        taken_in(log, farm, table, now=0)
        yield log


def _warn_of_gone(log: Database, farm: Farm, start: int, end: int) -> None:
    with log.reading() as session:
        gone = [
            name
            for name, entry in farm.config.sources.items()
            if observes(entry) and not aggregates.has_readings(session, name, start, end)
        ]
    if gone:
        remark(
            say(
                "Readings of {sources} from then are no longer kept whole (see keep_raw): "
                "to the replay they are silent.",
                sources=", ".join(gone),
            )
        )


def _print(said: Said, farm: Farm, whole: bool) -> None:
    at = datetime.fromtimestamp(said.at, farm.zone)
    lines = said.body.splitlines()
    head = said.title or lines.pop(0)
    day = joined([spoken().weekday(at), spoken().day_and_month(at), f"{at:%H:%M}"], " ")
    whom = say("to {recipient}: {title}", recipient=said.recipient, title=head)
    answer(joined([day, whom], "  "))
    for line in lines if whole else lines[:_FIRST_LINES]:
        answer(f"    {line}")
