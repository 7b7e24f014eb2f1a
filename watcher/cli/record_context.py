"""What commands on records and accounts share: farm, log and clock, and pages on a terminal."""

import getpass
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from typing import Literal

import rich.markup
import rich.table
from sqlalchemy.orm import Session

from watcher.cli.context import answer, open_farm, open_log, open_settings, out, stop
from watcher.cli.language import in_words
from watcher.farm import Farm
from watcher.i18n.message import Param, joined, say
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.words import CAUTION
from watcher.records.chain import Link
from watcher.records.errors import RecordError
from watcher.records.form import FormError
from watcher.records.layout import PageTable, RecordPage
from watcher.service.snapshot import compose
from watcher.store.errors import UnknownJobError

_MOST_COLUMNS = 6
"""A table of more does not fit a terminal."""


class RecordContext:
    """Farm, log and clock of one command."""

    def __init__(self, farm: Farm, session: Session) -> None:
        self.farm, self.session = farm, session
        self.plan = FarmArrays.of(farm)
        self.compose = partial(compose, session, self.plan)
        self.rules = farm.config.farm.record_rules
        self.now = int(time.time())


@contextmanager
def open_records(*, writing: bool) -> Iterator[RecordContext]:
    """Open farm and log; a step that may not be made is said, not made."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    try:
        with (
            open_log(settings) as log,
            log.writing() if writing else log.reading() as session,
        ):
            yield RecordContext(farm, session)
    except RecordError as error:
        stop(joined([error.text, *filter(None, [error.command])], "\n"))
    except (FormError, UnknownJobError) as error:
        stop(error.text)


def who(by: str) -> str:
    """Return who writes: the name given, else the user of this machine."""
    return by.strip() or getpass.getuser()


def print_page(page: RecordPage) -> None:
    """Print a page on the terminal."""
    out.print(page.title, style="bold", markup=False)
    for line in page.lines:
        answer(line)
    for table in page.tables:
        _print(table)
    answer(page.seal)
    answer(CAUTION)


def _print(table: PageTable) -> None:
    out.print(f"\n{table.title}", style="bold", markup=False)
    if len(table.head) > _MOST_COLUMNS:
        for row in table.rows:
            cells = zip(table.head, row, strict=True)
            out.print("  " + ", ".join(f"{name}: {cell}" for name, cell in cells), markup=False)
    elif table.rows:
        _print_rows(table)
    if table.note:
        answer(table.note)


def _print_rows(table: PageTable) -> None:
    shown = grid(*table.head, *([say("Key")] if table.keys else []))
    for place, cells in enumerate(table.rows):
        shown.add_row(*map(rich.markup.escape, (*cells, *table.keys[place : place + 1])))
    out.print(shown)


def grid(*head: Param) -> rich.table.Table:
    """Return an empty table with this head."""
    columns = (rich.table.Column(in_words(name), overflow="fold") for name in head)
    return rich.table.Table(*columns, box=None, padding=(0, 2, 0, 0))


def say_head(link: Link) -> None:
    """Say the head of the chain."""
    answer(say("Head of the chain: entry {number}, {hash}", number=link.number, hash=link.hash))


def printed(context: RecordContext, pages: Sequence[RecordPage]) -> bytes:
    """Return pages as a PDF. Raises RecordError where the extra for that is missing."""
    try:
        from watcher.records.pdf import write_pdf  # noqa: PLC0415  # an extra
    except ModuleNotFoundError as error:
        raise RecordError(
            say(
                "printing needs {name}; install this program with its extra [pdf], or export with "
                "--format json or csv",
                name=error.name or "",
            )
        ) from None
    paper: Literal["letter", "a4"] = "letter" if context.farm.config.farm.units == "us" else "a4"
    printed_at = datetime.fromtimestamp(context.now, context.farm.zone)
    return write_pdf(pages, paper, printed_at)
