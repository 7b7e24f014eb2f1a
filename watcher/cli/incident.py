"""``watcher incident …``: accounts of incidents, when drift is suspected."""

from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from watcher.cli.context import answer, out, writing
from watcher.cli.language import in_words
from watcher.cli.record_context import grid, open_records, print_page, printed, say_head, who
from watcher.i18n.message import say
from watcher.incidents import commands
from watcher.incidents.commands import DriftSuspicion
from watcher.incidents.page import SUSPECTED, page_of
from watcher.incidents.place import moment_of
from watcher.records import journal
from watcher.records.document import write_document

app = typer.Typer(
    no_args_is_help=True, help="Accounts of incidents: drift is suspected, what does the log hold?"
)


class SuspectedWay(StrEnum):
    """Which way drift is suspected."""

    ONTO_US = "onto-us"
    FROM_US = "from-us"


class Form(StrEnum):
    """What an account is exported as."""

    PDF = "pdf"
    JSON = "json"


Number = Annotated[
    int, typer.Argument(help="The account's number, see 'watcher incident list'.", min=1)
]


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="incident")


@app.command("write")
def write(  # noqa: PLR0917  # options of a command
    place: Annotated[
        str, typer.Argument(help='A field, a neighbour, or "latitude, longitude" in degrees.')
    ],
    way: Annotated[
        SuspectedWay, typer.Option("--suspected", help="Onto our crop, or from our job.")
    ],
    start: Annotated[
        str, typer.Option("--from", help='When, "2026-06-01T14:30"; alone it is one moment.')
    ],
    end: Annotated[
        str | None, typer.Option("--to", help="Until when, where it may have been a span.")
    ] = None,
    seen: Annotated[str, typer.Option(help="What was seen, in your words.")] = "",
    by: Annotated[
        str, typer.Option(help="Who writes this; the user of this machine when left out.")
    ] = "",
    key: Annotated[
        str | None,
        typer.Option(help="The same key is the same account: sent twice, it is written once."),
    ] = None,
) -> None:
    """Gather what the log holds of a place and a time, and seal it. It is never changed."""
    with open_records(writing=True) as context:
        zone = context.farm.zone
        said = DriftSuspicion(
            suspected="onto us" if way is SuspectedWay.ONTO_US else "from us",
            place=place,
            start=moment_of(start, zone),
            end=None if end is None else moment_of(end, zone),
            seen=seen,
            step=key,
        )
        sealed = commands.write(
            context.session, context.plan, context.compose, said, by=who(by), now=context.now
        )
    answer(say("Account of an incident {n} is sealed.", n=sealed.account.number))
    say_head(sealed.link)


@app.command("list")
def list_accounts() -> None:
    """List the accounts of incidents."""
    with open_records(writing=False) as context:
        found, zone = commands.accounts(context.session), context.farm.zone
    if not found:
        answer(say("No account of an incident is written."))
        return
    table = grid(say("Number"), say("Place"), say("From"), say("What is suspected"), say("By"))
    for sealed in found:
        account = sealed.account
        table.add_row(
            str(account.number),
            account.place.said,
            f"{datetime.fromtimestamp(account.start, zone):%Y-%m-%d %H:%M}",
            in_words(SUSPECTED[account.suspected]),
            sealed.link.by,
        )
    out.print(table)


@app.command("show")
def show(number: Number) -> None:
    """Show an account as it was sealed."""
    with open_records(writing=False) as context:
        page = page_of(commands.account(context.session, number), context.farm.language)
    print_page(page)


@app.command("export")
def export(
    number: Number,
    form: Annotated[Form, typer.Option("--format", "-f", help="As what.")] = Form.PDF,
    to_file: Annotated[
        Path | None, typer.Option("--output", "-o", help="A file; named by itself when left out.")
    ] = None,
) -> None:
    """Write an account as a page to print (pdf) or a document to check (json)."""
    file = to_file or Path(f"incident-{number}.{form.value}")
    with open_records(writing=False) as context:
        sealed = commands.account(context.session, number)
        if form is Form.PDF:
            data = printed(context, [page_of(sealed, context.farm.language)])
        else:
            data = write_document(journal.entries(context.session), [], [sealed.link.number])
    with writing(file):
        file.write_bytes(data)
    answer(say("Account of an incident {n} written to {file}.", n=number, file=str(file)))
