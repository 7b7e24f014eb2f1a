"""What ``watcher run`` runs, and ``watcher test-alert``: whether its messages arrive."""

import asyncio
import contextlib
import os
import socket
import time
from collections.abc import Sequence
from typing import Annotated

import structlog
import typer

from watcher.cli.context import BAD_INPUT, answer, open_farm, open_settings, stop
from watcher.cli.login import KEYRING
from watcher.cli.startup import (
    VERSIONS,
    Start,
    farm_to_run,
    has_kept_farm,
    refuse,
    started,
    tiles_of,
)
from watcher.delivery.acknowledgement import Links
from watcher.delivery.channel import Channel, Outcome, UnusableUrlError
from watcher.delivery.heartbeat import Heartbeat
from watcher.delivery.web_push import WebPush
from watcher.delivery.worker import DeliveryWorker
from watcher.farm import Farm
from watcher.farm.editing.texts import FarmTexts
from watcher.i18n.message import joined, say
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.words import CAUTION
from watcher.service import logs
from watcher.service.chances import ChanceKeeper
from watcher.service.clock import WallClock
from watcher.service.farm_editor import FarmEditor
from watcher.service.farm_in_use import FarmInUse, Sources
from watcher.service.farm_versions import FarmVersions
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.service.source_factory import polled_sources
from watcher.service.station_factory import speaks_by_itself
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.settings import Settings, networks, problems
from watcher.sources.base import StreamedSource
from watcher.sources.body_process import BodyProcess
from watcher.sources.body_reader import BodyReader
from watcher.sources.http import FeedClient
from watcher.store.database import Database
from watcher.store.errors import LogDamagedError, LogError, LogInUseError, LogSettingsError
from watcher.store.kept_file import KeptFile
from watcher.store.last_known import LastKnownFile
from watcher.store.recovery import OwnLog
from watcher.store.running_lock import held, running_lock
from watcher.web.app import Keys, create_app
from watcher.web.auth.session_file import open_session_store
from watcher.web.auth.users import Users
from watcher.web.listening import PortError, listen
from watcher.web.server import serve

_SILENT_S = 15.0
"""How long a database server may say nothing: half a minute later a phone must know. [s]"""
_DAMAGED_WAIT_S = 5.0
STANDBY = "standby.state"
"""File in the state folder for what the watch knows while its log cannot be used."""


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("run")(run)
    app.command("test-alert")(test_alert)


def run() -> None:
    """Run the watch until it is stopped."""
    settings = open_settings()
    logs.set_up(settings.log_format, settings.log_level)
    if not settings.farm.exists() and not has_kept_farm(settings):
        from watcher.cli.first_visit import first_visit  # noqa: PLC0415 - once in a life

        try:
            first_visit(settings)
        except PortError as error:
            stop(str(error))
    start = farm_to_run(settings)
    try:
        log = Database(settings.database_url, farm=settings.farm_number, silent_s=_SILENT_S)
    except LogError as error:
        refuse(settings, [str(error)])
    lock = running_lock(log)
    own = OwnLog(log, lock, LastKnownFile(log, settings.state_dir))
    reader = BodyProcess()
    with contextlib.closing(log), contextlib.closing(reader), held(lock, _step_aside):
        newest = [start]
        while _damaged(settings, newest, own, log, reader):
            # Replaced by the next opening. Not at once: a disk that spoils every log would
            # otherwise be filled with them.
            own.damage_met()
            time.sleep(_DAMAGED_WAIT_S)


def _damaged(
    settings: Settings, newest: list[Start], own: OwnLog, log: Database, reader: BodyReader
) -> bool:
    """Run the watch until it is stopped; returns whether a damaged log ended it instead.

    ``newest`` is the farm to run with, which may change meanwhile: what comes after goes by it.
    """
    try:
        own.open(int(time.time()))
    except LogInUseError as error:
        stop(str(error))  # the other copy watches: nobody need be alerted
    except LogSettingsError as error:
        refuse(settings, [str(error)])
    except LogError as error:
        # The watch starts nevertheless: it tells the phones, and begins as soon as it can.
        structlog.get_logger("watcher.cli").error("the log cannot be used yet", why=str(error))
    try:
        sockets = listen(settings.host, settings.port)
    except PortError as error:
        refuse(settings, [str(error)])
    started(settings, newest[0])
    try:
        asyncio.run(_run(settings, newest, own, log, sockets=sockets, reader=reader))
    except UnusableUrlError as error:
        refuse(settings, [str(error)])
    except BaseExceptionGroup as errors:
        if (in_use := errors.subgroup(LogInUseError)) is not None:
            stop(str(_one(in_use)))
        if (refused := errors.subgroup(LogSettingsError)) is not None:
            refuse(settings, [str(_one(refused))])
        if (found := errors.subgroup(LogDamagedError)) is None:
            raise
        structlog.get_logger("watcher.cli").error("the log is damaged", why=str(_one(found)))
        return True
    return False


def _one(errors: BaseExceptionGroup[BaseException]) -> BaseException:
    """The first of the errors in a group of groups."""
    error: BaseException = errors
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return error


def _step_aside(error: LogInUseError) -> None:
    """End at once: what is in hand is the other copy's now, and a proper stop would be sent."""
    structlog.get_logger("watcher.cli").critical("another copy has taken the log", why=str(error))
    os._exit(BAD_INPUT)


async def _run(
    settings: Settings,
    newest: list[Start],
    own: OwnLog,
    log: Database,
    *,
    sockets: Sequence[socket.socket],
    reader: BodyReader,
) -> None:
    start, clock = newest[0], WallClock()
    farm = start.farm
    sessions = open_session_store(settings.state_dir / KEYRING, clock.now)
    secrets = Secrets.of(settings, now=clock.now())
    for trouble in secrets.troubles:
        structlog.get_logger("watcher.cli").error("the file of secrets", trouble=str(trouble))
    links = None
    if settings.address:
        links = Links(sessions.secret_for("seen"), f"{settings.address}/seen")
    transactions = Transactions(
        FarmArrays.of(farm),
        log,
        clock,
        keep_raw_s=settings.keep_raw,
        links=links,
        subscribed=sessions if settings.contact else None,
        own=own,
        instead=start.instead,
        secrets=secrets,
    )
    pushes = None
    if settings.contact:
        answers = Links(sessions.secret_for("push"), "")
        pushes = WebPush(sessions, sessions.secret, settings.contact, answers)
    calendars = Links(sessions.secret_for("calendar"), f"{settings.address}/calendar")
    keys = Keys(
        sessions,
        secrets,
        Users(settings.users, settings.programs),
        links,
        tiles=tiles_of(settings, reader),
        pushes=pushes,
        calendars=calendars if settings.address else None,
        address=settings.address,
    )
    urls = secrets.all_of(SecretKind.PUSH)
    delivery = DeliveryWorker(log, farm, urls, now=clock.now, pushes=pushes)
    cache = settings.state_dir / "feeds.db"
    client = FeedClient(contact=settings.contact, cache=cache, reader=reader, dated=clock.hear_date)
    async with client:
        url = settings.heartbeat_url
        heartbeat = None if url is None else Heartbeat(url)

        def sources_of(farm: Farm) -> Sources:
            streams: dict[str, StreamedSource] = {}
            if speaks_by_itself(farm):
                from watcher.service.stream_factory import streamed_sources  # noqa: PLC0415 - see there

                passwords = secrets.all_of(SecretKind.BROKER)
                streams = streamed_sources(farm, clock.now, passwords, reader)
            return Sources(polled_sources(farm, client, secrets.all_of(SecretKind.FEED)), streams)

        def keep(farm: Farm, texts: FarmTexts, _at: int) -> None:
            both = {texts.file: texts.farm, texts.fields_file: texts.fields}
            newest[0] = Start(farm, both)
            started(settings, newest[0])

        sources = sources_of(farm)
        watch = Watch(
            transactions,
            sources.polled,
            delivery,
            heartbeat,
            sources.streams,
            reader=reader,
            standby_file=KeptFile(settings.state_dir / STANDBY),
            chances=ChanceKeeper(transactions.plan, log),
        )
        versions = FarmVersions(settings.state_dir / VERSIONS)
        try:
            versions.take_secrets_out()
        except OSError as error:
            structlog.get_logger("watcher.cli").warning(
                "an old version of the farm cannot be written anew", why=error.strerror
            )
        unfit = lambda farm: problems(settings, farm).errors  # noqa: E731
        editor = FarmEditor(settings.farm, versions, clock, unfit)
        watch.farm_in_use = FarmInUse(watch, editor, sources=sources_of, keep=keep)
        app = create_app(watch, keys)
        await serve(watch, app, sockets, proxies=networks(settings.proxies))


def test_alert(
    recipient: Annotated[str, typer.Argument(help="A recipient's name in the farm file.")],
) -> None:
    """Send one recipient a test message, and say whether it was taken."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    urls = Secrets.of(settings).all_of(SecretKind.PUSH)
    url = urls.get(recipient)
    if recipient not in farm.config.recipients or url is None:
        known = [name for name in farm.config.recipients if name in urls]
        wrong = say("no recipient '{name}' with a push address", name=recipient)
        there = say("there are: {names}", names=", ".join(known))
        stop(joined([wrong, there if known else say("there are none")], "; "))
    try:
        channel = Channel(recipient, url.get_secret_value())
    except UnusableUrlError as error:
        stop(str(error))
    spoken = farm.language_of(recipient)
    title = say("Test of the weather watch").render(spoken)
    text = joined([say("A test: messages of the weather watch arrive here."), CAUTION], " ")
    attempt = asyncio.run(channel.send(title, text.render(spoken), urgent=False))
    if attempt.outcome is not Outcome.SENT:
        why = attempt.why
        stop(say("the message to {name} was not taken: {why}", name=recipient, why=why))
    answer(say("The message to {name} was taken.", name=recipient))
