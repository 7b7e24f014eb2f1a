"""``watcher record …``: the records of applications."""

import getpass
import io
import time
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Annotated, Literal

import rich.markup
import rich.table
import typer
from sqlalchemy.orm import Session

from watcher.alerts.wording.words import CAUTION
from watcher.cli.opening import err, open_farm, open_log, open_settings, out, stop, writing
from watcher.farm import Farm
from watcher.judge.plan import Plan
from watcher.records import book, journal
from watcher.records.chain import WHAT_IT_SHOWS, Break, Verdict
from watcher.records.document import check_document, write_document
from watcher.records.errors import RecordError
from watcher.records.form import FormError
from watcher.records.layout import Page, Table
from watcher.records.page import page_of
from watcher.records.record import Record
from watcher.records.rules import due_next
from watcher.records.table import write_table
from watcher.service.picture import compose
from watcher.store import jobs
from watcher.store import records as store
from watcher.store.database import Log
from watcher.store.tables import Job

app = typer.Typer(no_args_is_help=True, help="Records of applications, sealed and checkable.")
_MOST_COLUMNS = 6
"""A table of more does not fit a terminal."""
BROKEN = 1
"""Exit code for a chain or a document that was changed."""


class Format(StrEnum):
    """What records are exported as."""

    JSON = "json"
    CSV = "csv"
    PDF = "pdf"


Number = Annotated[int, typer.Argument(help="The job's number, see 'watcher record list'.")]
Values = Annotated[
    list[str], typer.Argument(help='key=value, such as product=NAME rate="22 fl oz/acre".')
]
By = Annotated[str, typer.Option(help="Who writes this; the user of this machine when left out.")]


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="record")


class _Desk:
    """Farm, log and clock of one command."""

    def __init__(self, farm: Farm, session: Session) -> None:
        self.farm, self.session = farm, session
        self.plan = Plan.of(farm)
        self.compose = partial(compose, session, self.plan)
        self.rules = farm.told.farm.record_rules
        self.now = int(time.time())

    def page(self, job: int, *, blanks: bool = False) -> Page:
        """Lay a job's record out."""
        record = book.look(self.session, self.plan, self.compose, job, self.now)
        return page_of(record, self.rules, journal.head(self.session), blanks=blanks)


@contextmanager
def _desk(*, writing: bool) -> Iterator[_Desk]:
    """Open farm and log; a step that may not be made is said, not made."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    try:
        with open_log(settings) as log, _session(log, writing=writing) as session:
            yield _Desk(farm, session)
    except RecordError as error:
        stop("\n".join(filter(None, (str(error), error.command))))
    except (FormError, jobs.UnknownJobError) as error:
        stop(str(error))


def _session(log: Log, *, writing: bool) -> AbstractContextManager[Session]:
    return log.writing() if writing else log.reading()


def _pairs(told: Sequence[str]) -> dict[str, str]:
    pairs = [text.partition("=") for text in told]
    wrong = [key for key, equals, _ in pairs if not equals]
    if wrong:
        stop(f'"{wrong[0]}" is not key=value; write for example area="40 acre"')
    return {key.strip(): value for key, _, value in pairs}


def _who(by: str) -> str:
    return by.strip() or getpass.getuser()


@app.command("list")
def list_records(
    days: Annotated[int, typer.Option(help="How far back, in days.", min=1)] = 365,
) -> None:
    """List the jobs and how far their records are, with the day each is due."""
    with _desk(writing=False) as desk:
        found = jobs.past_jobs(desk.session, desk.now - days * 86_400, desk.now + 1)
        rows = [_row(desk, job) for job in found]
        head = journal.head(desk.session)
    if not rows:
        out.print(f"No job was started in the last {days} days.")
        return
    table = _grid("Job", "Field", "Started", "State", "Record", "Due")
    for row in rows:
        table.add_row(*row)
    out.print(table)
    if head is not None:
        out.print(f"Head of the chain: entry {head.number}, {head.hash}", markup=False)


def _row(desk: _Desk, job: Job) -> tuple[str, ...]:
    record = book.record_of(desk.session, job.id)
    if record.closed is None:
        state = "open" if record.entries else "not begun"
        due = due_next(desk.rules, started=job.started_at, zone=desk.farm.zone)
    else:
        state = "closed" if record.closed.closing.incomplete is None else "closed incomplete"
        due = ""
    started = f"{datetime.fromtimestamp(job.started_at, desk.farm.zone):%Y-%m-%d %H:%M}"
    return str(job.id), job.field, started, job.state, state, due


@app.command("show")
def show(number: Number) -> None:
    """Show a job's record with everything that can still be told, what is missing and what is due.

    What is not kept yet is shown as the log and the farm file have it now.
    """
    with _desk(writing=False) as desk:
        page = desk.page(number, blanks=True)
    out.print(page.title, style="bold", markup=False)
    for line in page.lines:
        out.print(line, markup=False)
    for table in page.tables:
        _print(table)
    out.print(page.seal, markup=False)
    out.print(CAUTION, markup=False)


def _print(table: Table) -> None:
    out.print(f"\n{table.title}", style="bold", markup=False)
    if len(table.head) > _MOST_COLUMNS:
        for row in table.rows:
            told = zip(table.head, row, strict=True)
            out.print("  " + ", ".join(f"{name}: {cell}" for name, cell in told), markup=False)
    elif table.rows:
        _print_rows(table)
    if table.note:
        out.print(table.note, markup=False)


def _print_rows(table: Table) -> None:
    shown = _grid(*table.head, *(["Key"] if table.keys else []))
    for place, cells in enumerate(table.rows):
        shown.add_row(*map(rich.markup.escape, (*cells, *table.keys[place : place + 1])))
    out.print(shown)


def _grid(*head: str) -> rich.table.Table:
    columns = (rich.table.Column(name, overflow="fold") for name in head)
    return rich.table.Table(*columns, box=None, padding=(0, 2, 0, 0))


@app.command("set")
def set_values(number: Number, values: Values, by: By = "") -> None:
    """Type values into a record that is not closed."""
    told = _pairs(values)
    with _desk(writing=True) as desk:
        record = book.tell(desk.session, desk.farm, number, told, by=_who(by), now=desk.now)
    out.print(f"Record of job {number}: {', '.join(told)} written.", markup=False)
    _say_head(record)


@app.command("correct")
def correct(
    number: Number,
    values: Values,
    why: Annotated[str, typer.Option(help="Why it was wrong; kept in the record.")],
    by: By = "",
) -> None:
    """Put values of a closed record right. The old ones stay visible."""
    told = _pairs(values)
    with _desk(writing=True) as desk:
        record = book.correct(
            desk.session, desk.farm, number, told, why=why, by=_who(by), now=desk.now
        )
    out.print(f"Record of job {number} corrected: {', '.join(told)}.", markup=False)
    _say_head(record)


@app.command("close")
def close(
    number: Number,
    incomplete: Annotated[
        str | None, typer.Option(help="Why it is closed though something is missing.")
    ] = None,
    by: By = "",
) -> None:
    """Close a record: what it holds stands from then on, and only corrections are added."""
    with _desk(writing=True) as desk:
        record = book.close(
            desk.session,
            desk.plan,
            desk.compose,
            number,
            by=_who(by),
            now=desk.now,
            incomplete=incomplete,
        )
    out.print(f"Record of job {number} closed.", markup=False)
    _say_head(record)
    out.print(WHAT_IT_SHOWS, markup=False)


def _say_head(record: Record) -> None:
    link = record.entries[-1].link
    out.print(f"Head of the chain: entry {link.number}, {link.hash}", markup=False)


@app.command("verify")
def verify(
    head: Annotated[
        str | None, typer.Option(help="A head hash noted earlier: it must still be in the chain.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option(help="A JSON export to check in place of the log.")
    ] = None,
) -> None:
    """Check that no entry of any record was changed; names the first that was."""
    if file is not None:
        verdict = _verdict_on(file, head)
    else:
        with _desk(writing=False) as desk:
            verdict = journal.verify(desk.session, head)
    if verdict.broken is not None:
        err.print(_broken(verdict.broken), markup=False)
        raise typer.Exit(BROKEN)
    out.print(f"The chain is whole: {verdict.count} entries.", markup=False)
    if verdict.head is not None:
        out.print(f"Head: {verdict.head}", markup=False)
    out.print(WHAT_IT_SHOWS, markup=False)


def _verdict_on(file: Path, noted: str | None) -> Verdict:
    try:
        return check_document(file.read_bytes(), noted)
    except OSError as error:
        stop(f"{file} cannot be read ({error.strerror}); check the path")
    except RecordError as error:
        stop(f"{file}: {error}")


def _broken(broken: Break) -> str:
    mend = "compare with a backup or an earlier export; what is printed on paper still tells"
    if broken.number == 0:
        return f"The document was changed: {broken.why}.\n{mend}"
    return f"The chain is broken at entry {broken.number}: {broken.why}.\n{mend}"


@app.command("export")
def export(
    numbers: Annotated[
        list[int] | None, typer.Argument(help="Jobs' numbers; every record when left out.")
    ] = None,
    form: Annotated[Format, typer.Option("--format", "-f", help="As what.")] = Format.PDF,
    to_file: Annotated[
        Path | None, typer.Option("--output", "-o", help="A file; named by itself when left out.")
    ] = None,
) -> None:
    """Write records as a page to print (pdf), a table (csv) or a document to check (json)."""
    file = to_file or Path(f"records.{form.value}")
    with _desk(writing=False) as desk:
        wanted = _wanted(desk.session, numbers)
        data = _WRITERS[form](desk, wanted)
    with writing(file):
        file.write_bytes(data)
    out.print(f"{len(wanted)} records written to {file}.", markup=False)


def _wanted(session: Session, numbers: Sequence[int] | None) -> list[int]:
    there = store.recorded_jobs(session)
    for number in numbers or ():
        if number not in there:
            jobs.job(session, number)
            raise RecordError(
                f"job {number} has no record yet; watcher record close {number} makes it"
            )
    if not there:
        raise RecordError("there is no record yet; watcher record close JOB makes one")
    return sorted(set(numbers)) if numbers else there


def _json(desk: _Desk, wanted: Sequence[int]) -> bytes:
    return write_document(journal.entries(desk.session), wanted)


def _csv(desk: _Desk, wanted: Sequence[int]) -> bytes:
    text = io.StringIO(newline="")
    records = (book.record_of(desk.session, number) for number in wanted)
    write_table(records, journal.head(desk.session), text)
    return text.getvalue().encode()


def _pdf(desk: _Desk, wanted: Sequence[int]) -> bytes:
    try:
        from watcher.records.pdf import write_pdf  # noqa: PLC0415  # an extra
    except ModuleNotFoundError as error:
        raise RecordError(
            f"printing needs {error.name}; install this program with its extra [pdf], or export "
            "with --format json or csv"
        ) from None
    paper: Literal["letter", "a4"] = "letter" if desk.farm.told.farm.units == "us" else "a4"
    printed_at = datetime.fromtimestamp(desk.now, desk.farm.zone)
    return write_pdf([desk.page(number) for number in wanted], paper, printed_at)


_WRITERS = {Format.JSON: _json, Format.CSV: _csv, Format.PDF: _pdf}
