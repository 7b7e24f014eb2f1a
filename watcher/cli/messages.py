"""``watcher messages`` and ``watcher seen``: what became of every alert, and that one was seen."""

import time
from typing import Annotated

import typer
from rich.table import Table

from watcher.alerts.acknowledgement import acknowledge
from watcher.alerts.wording.words import clock, cut, span
from watcher.cli.opening import open_farm, open_log, open_settings, out, stop
from watcher.farm import Farm
from watcher.store import outbox
from watcher.store.tables import Message

_SAID_ROOM = 44
_ON_TIME_S = 60


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("messages")(messages)
    app.command("seen")(seen)


def messages(
    count: Annotated[int, typer.Option(min=1, max=1000, help="How many, the newest first.")] = 20,
) -> None:
    """List the newest messages: to whom, sent when or why not, how late, seen by whom."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    with open_log(settings) as log, log.reading() as session:
        found = outbox.newest(session, count)
    if not found:
        out.print("Nothing has been told yet.")
        return
    table = Table("Id", "Written", "To", "Said", "What became of it", "Seen")
    now = int(time.time())
    for message in found:
        table.add_row(*_receipt(message, farm, now))
    out.print(table)


def _receipt(message: Message, farm: Farm, now: int) -> tuple[str, ...]:
    seen_at = message.acknowledged_at
    return (
        message.short_id,
        clock(message.created_at, now, farm.zone),
        message.recipient,
        cut(message.title or message.body, _SAID_ROOM).replace("[", "("),
        _fate(message, farm, now),
        "" if seen_at is None else f"{clock(seen_at, now, farm.zone)} {message.acknowledged_by}",
    )


def _fate(message: Message, farm: Farm, now: int) -> str:
    if message.sent_at is not None:
        late = message.sent_at - message.caused_at
        by = f", {span(late)} late" if late > _ON_TIME_S else ""
        return f"sent {clock(message.sent_at, now, farm.zone)}{by}"
    tried = f", attempts {message.attempts}" if message.attempts else ""
    why = f": {cut(message.last_error, _SAID_ROOM)}" if message.last_error else ""
    return f"{message.state}{tried}{why}".replace("[", "(")


def seen(
    ref: Annotated[str, typer.Argument(help="The id at the end of the message.")],
    by: Annotated[str, typer.Option(help="Who has seen it.")] = "the command line",
) -> None:
    """Say that an alert was seen: nobody else need be told, and it is not repeated."""
    settings = open_settings()
    with open_log(settings) as log, log.writing() as session:
        count = acknowledge(session, ref, by, int(time.time()))
    if not count:
        stop(
            f"no message of the last day with the id {ref!r} waits to be seen; "
            "'watcher messages' lists them"
        )
    out.print(f"Noted: {ref.upper()} was seen by {by}.", markup=False)
