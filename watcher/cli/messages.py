"""``watcher messages`` and ``watcher seen``: what became of every alert, and that one was seen."""

import time
from typing import Annotated

import typer

from watcher.cli.context import answer, open_farm, open_log, open_settings, out, stop, table_of
from watcher.cli.language import in_words
from watcher.farm import Farm
from watcher.i18n.message import Param, WallTime, joined, say
from watcher.jobs.commands import BadStepError, see
from watcher.messages.text import cut
from watcher.messages.vocabulary import MESSAGE_STATE_WORDS
from watcher.messages.words import span
from watcher.store import outbox
from watcher.store.tables import Outgoing

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
        answer(say("Nothing has been sent yet."))
        return
    table = table_of(
        say("Id"),
        say("Written"),
        say("To"),
        say("Said"),
        say("What became of it"),
        say("Seen"),
    )
    now = int(time.time())
    for message in found:
        table.add_row(*map(in_words, _receipt(message, farm, now)))
    out.print(table)


def _receipt(message: Outgoing, farm: Farm, now: int) -> tuple[Param, ...]:
    seen_at, by = message.acknowledged_at, message.acknowledged_by or ""
    return (
        message.short_id,
        WallTime(message.created_at, now, farm.zone),
        message.recipient,
        cut(message.title or message.body, _SAID_ROOM).replace("[", "("),
        _fate(message, farm, now),
        "" if seen_at is None else joined([WallTime(seen_at, now, farm.zone), by], " "),
    )


def _fate(message: Outgoing, farm: Farm, now: int) -> Param:
    if message.sent_at is not None:
        late = message.sent_at - message.caused_at
        sent = say("sent {time}", time=WallTime(message.sent_at, now, farm.zone))
        parts: list[Param] = [sent]
        if late > _ON_TIME_S:
            parts.append(say("{span} late", span=span(late)))
        if message.shown_at is not None:
            parts.append(say("shown {time}", time=WallTime(message.shown_at, now, farm.zone)))
        return joined(parts)
    fate: Param = MESSAGE_STATE_WORDS[message.state]
    if message.attempts:
        fate = joined([fate, say("attempts {count}", count=message.attempts)])
    if message.last_error:
        fate = joined([fate, cut(message.last_error, _SAID_ROOM).replace("[", "(")], ": ")
    return fate


def seen(
    ref: Annotated[str, typer.Argument(help="The id at the end of the message.")],
    by: Annotated[str, typer.Option(help="Who has seen it; the command line when left out.")] = "",
) -> None:
    """Say that an alert was seen: nobody else need be alerted, and it is not repeated."""
    settings = open_settings()
    by = by or in_words(say("the command line"))
    try:
        with open_log(settings) as log, log.writing() as session:
            first = see(session, ref, by, int(time.time()))
    except BadStepError as error:
        stop(error.args[0])
    if first.new or first.by == by:
        answer(say("Noted: {ref} was seen by {who}.", ref=ref.upper(), who=first.by))
    else:
        answer(say("{ref} was already seen by {who}.", ref=ref.upper(), who=first.by))
