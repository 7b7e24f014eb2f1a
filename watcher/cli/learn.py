"""``watcher learn``: look at what an unknown station sends, and propose an entry for it."""

import asyncio
import time
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

import aiomqtt
import numpy as np
import typer

from watcher.cli.context import answer, open_farm, open_settings, out, stop, table_of
from watcher.cli.language import in_words, spoken
from watcher.farm import Farm
from watcher.farm.load import FarmFileError
from watcher.i18n.message import Param, joined, say
from watcher.messages.sources import finding_words, quantity_names
from watcher.service.learning import (
    Heard,
    NothingLearnedError,
    Proposal,
    as_toml,
    decoded,
    free_name,
    propose,
    read_values,
    write,
)
from watcher.sources.base import Observations, SourceError
from watcher.sources.http import FeedClient
from watcher.sources.stations.readings import MAX_BYTES
from watcher.weather.quantities import BY_NAME

_SHOWN = 5
_MOST_FILE = 8 * MAX_BYTES


def add_to(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("learn")(learn)


def learn(
    what: Annotated[
        str,
        typer.Argument(
            help="A file the station writes or a body it sent, an address (http://…), or a topic "
            "(mqtt://host/topic)."
        ),
    ],
    *,
    name: Annotated[str, typer.Option(help="What the source shall be called.")] = "station",
    unit: Annotated[
        list[str] | None, typer.Option(help="A unit you know: wind=mph. May be given often.")
    ] = None,
    time_format: Annotated[
        str | None, typer.Option(help="How its times are written, if you know.")
    ] = None,
    time_zone: Annotated[
        str | None, typer.Option(help="The zone its clock is set to, if you know.")
    ] = None,
    wait: Annotated[float, typer.Option(help="Seconds to wait for a message.")] = 60.0,
    write_it: Annotated[
        bool, typer.Option("--write", help="Write the entry into the farm file.")
    ] = False,
) -> None:
    """Propose an entry of the farm file for a station, and show what it makes of what comes."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    now = int(time.time())
    try:
        heard = _heard(what, settings.contact, now, wait)
        proposal = propose(
            heard,
            now=now,
            farm_zone=farm.config.farm.time_zone,
            units=_units(unit or []),
            time_format=time_format,
            time_zone=time_zone,
        )
    except (NothingLearnedError, SourceError, OSError) as error:
        stop(say("{what}: {why}", what=what, why=_words(error)))
    name = name if write_it else free_name(name, list(farm.config.sources))
    _show(proposal, heard, farm, name, now)
    if not write_it:
        out.print()
        answer(say("Nothing was written. Add --write to put it into the farm file."))
        return
    if proposal.doubts:
        stop(say("Nothing was written: confirm first what is only guessed, as said above."))
    try:
        write(settings.farm, name, proposal.entry)
    except (FarmFileError, NothingLearnedError, OSError) as error:
        stop(say("Nothing was written: {why}", why=_words(error)))
    out.print()
    answer(say("Written to {file} as source {name}.", file=str(settings.farm), name=name))


def _words(error: Exception) -> Param:
    if isinstance(error, FarmFileError):
        return error.render(spoken())
    return error.text if isinstance(error, NothingLearnedError) else str(error)


def _units(given: list[str]) -> dict[str, str]:
    found = {}
    for each in given:
        quantity, sign, unit = each.partition("=")
        if not sign or quantity not in BY_NAME:
            wrong = say(
                "--unit {given}: write QUANTITY=UNIT, such as wind=mph; {names}",
                given=each,
                names=", ".join(BY_NAME),
            )
            stop(wrong)
        found[quantity] = unit
    return found


def _heard(what: str, contact: str, now: int, wait_s: float) -> Heard:
    address = urlsplit(what)
    if address.scheme in {"http", "https"}:
        return Heard(asyncio.run(_fetched(what, contact)), now, url=what)
    if address.scheme == "mqtt":
        host, port = address.hostname or "", address.port or 1883
        topic = address.path.lstrip("/")
        body = asyncio.run(_message(host, port, topic, wait_s))
        return Heard(body, now, broker=(host, port), topic=topic)
    file = Path(what)
    if not file.is_file():
        missing = say(
            "{what}: there is no such file; an address begins with http://, a topic with mqtt://",
            what=what,
        )
        stop(missing)
    body = file.read_bytes()
    if len(body) > _MOST_FILE:
        cut = body[-_MOST_FILE:].partition(b"\n")[2]
        body = body[: body.index(b"\n", 4096) + 1] + cut
    return Heard(body, int(file.stat().st_mtime), file=file)


async def _fetched(url: str, contact: str) -> bytes:
    async with FeedClient(contact=contact or "a grower") as client:
        return await client.text(url)


async def _message(host: str, port: int, topic: str, wait_s: float) -> bytes:
    try:
        async with asyncio.timeout(wait_s), aiomqtt.Client(host, port) as client:
            await client.subscribe(topic)
            async for message in client.messages:
                body = message.payload
                if isinstance(body, bytes) and 0 < len(body) <= MAX_BYTES:
                    return body
    except TimeoutError:
        why = say("nothing came on '{topic}' within {n} s", topic=topic, n=f"{wait_s:g}")
    except aiomqtt.MqttError as error:
        why = say(
            "the broker at {host}:{port} is not to be had ({why})",
            host=host,
            port=str(port),
            why=str(error),
        )
    else:
        why = say("the broker closed the line")
    text = say("{why}; check broker and topic, or wait longer with --wait", why=why)
    raise NothingLearnedError(text)


def _show(proposal: Proposal, heard: Heard, farm: Farm, name: str, now: int) -> None:
    out.print(as_toml(name, proposal.entry), markup=False)
    out.print()
    try:
        found = decoded(proposal, heard, now)
    except NothingLearnedError as error:
        answer(say("Nothing can be shown: {why}", why=error.text))
        found = None
    except (ValueError, SourceError) as error:
        answer(say("Would be refused: {why}", why=str(error)))
        found = None
    if found is not None:
        _rows(proposal, found, farm)
        _refusals(found)
    if proposal.unread:
        answer(say("Not read: {names}", names=", ".join(proposal.unread)))
    for doubt in proposal.doubts:
        answer(say("Only guessed: {doubt}", doubt=doubt))


def _rows(proposal: Proposal, found: Observations, farm: Farm) -> None:
    """Print the last rows: each value as it came, and what is made of it."""
    heads = (f"{guess.quantity}\n{column}" for column, guess in proposal.units.items())
    table = table_of(say("Time"), *heads)
    for at, values in read_values(proposal, found, farm.config.farm.units, _SHOWN):
        moment = np.datetime64(at, "s")
        cells = [f"{one.came} → {in_words(one.made)}" for one in values]
        table.add_row(f"{moment}Z", *cells)
    out.print(table)


def _refusals(found: Observations) -> None:
    for quantity, bits in found.flags.items():
        doubted = bits[bits != 0]
        if doubted.size:
            answer(
                say(
                    "Would be doubted: {quantity}, {n} of {whole} values: {found}",
                    quantity=quantity_names([quantity]),
                    n=int(doubted.size),
                    whole=int(bits.size),
                    found=joined(finding_words(int(np.bitwise_or.reduce(doubted)))),
                )
            )
