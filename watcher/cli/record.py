"""``watcher record …``: the records of applications."""

import io
from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from sqlalchemy.orm import Session

from watcher.cli.context import (
    answer,
    out,
    remark,
    stop,
    writing,
)
from watcher.cli.language import in_words
from watcher.cli.record_context import (
    RecordContext,
    grid,
    open_records,
    print_page,
    printed,
    say_head,
    who,
)
from watcher.i18n.message import Message, Param, joined, say, say_n
from watcher.jobs import queries
from watcher.jobs.queries import JobView
from watcher.messages.vocabulary import JOB_STATE_WORDS
from watcher.records import commands, journal
from watcher.records.chain import WHAT_IT_SHOWS, Break, Verdict
from watcher.records.document import check_document, write_document
from watcher.records.errors import RecordError
from watcher.records.layout import RecordPage
from watcher.records.page import page_of
from watcher.records.rules import due_next
from watcher.records.table import write_table

app = typer.Typer(no_args_is_help=True, help="Records of applications, sealed and checkable.")
_MOST_COLUMNS = 6
"""A table of more does not fit a terminal."""
BROKEN = 1
"""Exit code for a chain or a document that was changed."""


class ExportFormat(StrEnum):
    """What records are exported as."""

    JSON = "json"
    CSV = "csv"
    PDF = "pdf"


Number = Annotated[int, typer.Argument(help="The job's number, see 'watcher record list'.")]
Values = Annotated[
    list[str], typer.Argument(help='key=value, such as product=NAME rate="22 fl oz/acre".')
]
Key = Annotated[
    str | None, typer.Option(help="The same key is the same entry: sent twice, it is written once.")
]
By = Annotated[str, typer.Option(help="Who writes this; the user of this machine when left out.")]


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="record")


def _pairs(texts: Sequence[str]) -> dict[str, str]:
    pairs = [text.partition("=") for text in texts]
    wrong = [key for key, equals, _ in pairs if not equals]
    if wrong:
        stop(say('"{text}" is not key=value; write for example area="40 acre"', text=wrong[0]))
    return {key.strip(): value for key, _, value in pairs}


@app.command("list")
def list_records(
    days: Annotated[int, typer.Option(help="How far back, in days.", min=1)] = 365,
) -> None:
    """List the jobs and how far their records are, with the day each is due."""
    with open_records(writing=False) as context:
        start, end = context.now - days * 86_400, context.now + 1
        found = queries.started(context.session, start, end, context.now)
        rows = [_row(context, view) for view in found]
        head = journal.head(context.session)
    if not rows:
        answer(
            say_n(
                "No job was started in the last {n} day.",
                "No job was started in the last {n} days.",
                days,
            )
        )
        return
    table = grid(say("Job"), say("Field"), say("Started"), say("State"), say("Record"), say("Due"))
    for row in rows:
        table.add_row(*map(in_words, row))
    out.print(table)
    if head is not None:
        say_head(head)


def _row(context: RecordContext, view: JobView) -> tuple[Param, ...]:
    job = view.job
    record = commands.record_of(context.session, job.id)
    if record.closed is None:
        state = say("open") if record.entries else say("not begun")
        due = due_next(context.rules, started=job.started_at, zone=context.farm.zone)
    else:
        whole = record.closed.closing.incomplete is None
        state = say("closed") if whole else say("closed incomplete")
        due = ""
    started = f"{datetime.fromtimestamp(job.started_at, context.farm.zone):%Y-%m-%d %H:%M}"
    return job.id, job.field, started, JOB_STATE_WORDS[job.state], state, due


@app.command("show")
def show(number: Number) -> None:
    """Show a job's record with everything that is known so far, what is missing and what is due.

    What is not kept yet is shown as the log and the farm file have it now.
    """
    with open_records(writing=False) as context:
        page = _page(context, number, blanks=True)
    print_page(page)


@app.command("set")
def set_values(number: Number, values: Values, by: By = "", key: Key = None) -> None:
    """Type values into a record that is not closed."""
    pairs = _pairs(values)
    with open_records(writing=True) as context:
        record = commands.tell(
            context.session, context.farm, number, pairs, by=who(by), now=context.now, step=key
        )
    answer(say("Record of job {number}: {keys} written.", number=number, keys=", ".join(pairs)))
    say_head(record.entries[-1].link)


@app.command("correct")
def correct(
    number: Number,
    values: Values,
    why: Annotated[str, typer.Option(help="Why it was wrong; kept in the record.")],
    by: By = "",
    key: Key = None,
) -> None:
    """Put values of a closed record right. The old ones stay visible."""
    pairs = _pairs(values)
    with open_records(writing=True) as context:
        record = commands.correct(
            context.session,
            context.farm,
            number,
            pairs,
            why=why,
            by=who(by),
            now=context.now,
            step=key,
        )
    answer(say("Record of job {number} corrected: {keys}.", number=number, keys=", ".join(pairs)))
    say_head(record.entries[-1].link)


@app.command("close")
def close(
    number: Number,
    incomplete: Annotated[
        str | None, typer.Option(help="Why it is closed though something is missing.")
    ] = None,
    by: By = "",
) -> None:
    """Close a record: what it holds stands from then on, and only corrections are added."""
    with open_records(writing=True) as context:
        record = commands.close(
            context.session,
            context.plan,
            context.compose,
            number,
            by=who(by),
            now=context.now,
            incomplete=incomplete,
        )
    answer(say("Record of job {number} closed.", number=number))
    say_head(record.entries[-1].link)
    answer(WHAT_IT_SHOWS)


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
        with open_records(writing=False) as context:
            verdict = journal.verify(context.session, head)
    if verdict.broken is not None:
        remark(_broken(verdict.broken))
        raise typer.Exit(BROKEN)
    answer(
        say_n("The chain is whole: {n} entry.", "The chain is whole: {n} entries.", verdict.count)
    )
    if verdict.head is not None:
        answer(say("Head: {hash}", hash=verdict.head))
    answer(WHAT_IT_SHOWS)


def _verdict_on(file: Path, noted: str | None) -> Verdict:
    try:
        return check_document(file.read_bytes(), noted)
    except OSError as error:
        why = str(error.strerror)
        stop(say("{file} cannot be read ({why}); check the path", file=str(file), why=why))
    except RecordError as error:
        stop(joined([str(file), error.text], ": "))


def _broken(broken: Break) -> Message:
    mend = say("compare with a backup or an earlier export; what is printed on paper still tells")
    wrong = say("The document was changed: {why}.", why=broken.why)
    if broken.number:
        wrong = say(
            "The chain is broken at entry {number}: {why}.", number=broken.number, why=broken.why
        )
    return joined([wrong, mend], "\n")


@app.command("export")
def export(
    numbers: Annotated[
        list[int] | None, typer.Argument(help="Jobs' numbers; every record when left out.")
    ] = None,
    form: Annotated[
        ExportFormat, typer.Option("--format", "-f", help="As what.")
    ] = ExportFormat.PDF,
    to_file: Annotated[
        Path | None, typer.Option("--output", "-o", help="A file; named by itself when left out.")
    ] = None,
) -> None:
    """Write records as a page to print (pdf), a table (csv) or a document to check (json)."""
    file = to_file or Path(f"records.{form.value}")
    with open_records(writing=False) as context:
        wanted = _wanted(context.session, numbers)
        data = _WRITERS[form](context, wanted)
    with writing(file):
        file.write_bytes(data)
    answer(
        say_n(
            "{n} record written to {file}.",
            "{n} records written to {file}.",
            len(wanted),
            file=str(file),
        )
    )


def _wanted(session: Session, numbers: Sequence[int] | None) -> list[int]:
    found = commands.recorded(session, numbers or ())
    if not found:
        raise RecordError(say("there is no record yet; watcher record close JOB makes one"))
    return found


def _json(context: RecordContext, wanted: Sequence[int]) -> bytes:
    return write_document(journal.entries(context.session), wanted)


def _csv(context: RecordContext, wanted: Sequence[int]) -> bytes:
    text = io.StringIO(newline="")
    records = (commands.record_of(context.session, number) for number in wanted)
    write_table(records, journal.head(context.session), text)
    return text.getvalue().encode()


def _page(context: RecordContext, job: int, *, blanks: bool = False) -> RecordPage:
    """Lay a job's record out."""
    record = commands.look(context.session, context.plan, context.compose, job, context.now)
    return page_of(record, context.rules, journal.head(context.session), blanks=blanks)


def _pdf(context: RecordContext, wanted: Sequence[int]) -> bytes:
    return printed(context, [_page(context, number) for number in wanted])


_WRITERS = {ExportFormat.JSON: _json, ExportFormat.CSV: _csv, ExportFormat.PDF: _pdf}
