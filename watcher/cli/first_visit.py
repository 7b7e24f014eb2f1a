"""``watcher run`` where there is no farm file yet: the first visit, on the watch's own port."""

import asyncio
import contextlib
import signal
import socket
import time
from collections.abc import Sequence
from urllib.parse import urlsplit

import structlog
import typer

from watcher.cli.context import answer, out
from watcher.cli.login import KEYRING, own_address
from watcher.cli.startup import VERSIONS, tiles_of
from watcher.delivery.acknowledgement import Links
from watcher.delivery.web_push import WebPush
from watcher.farm.editing.texts import FarmTexts
from watcher.i18n.message import say
from watcher.service import systemd
from watcher.service.clock import WallClock
from watcher.service.farm_versions import FarmVersions
from watcher.service.first_farm import FirstFarm
from watcher.service.kept_secrets import Secrets
from watcher.settings import Settings, networks, problems
from watcher.web.auth.authenticator import Authenticator
from watcher.web.auth.login_pages import is_of_one_machine, terminal_qr
from watcher.web.auth.session_file import open_session_store
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.station_tokens import StationTokens
from watcher.web.auth.users import Role, User, Users
from watcher.web.first_visit.app import create_first_visit
from watcher.web.first_visit.visit import FirstVisit
from watcher.web.listening import listen
from watcher.web.server import Server

log = structlog.get_logger("watcher.cli")
_KEPT = "first-visit.json"
_OWNER = "owner"
_ALIVE_EVERY_S = 10.0


def first_visit(settings: Settings) -> None:
    """Ask for the farm on the pages until its file is written; leaves where it is stopped first.

    Raises ``PortError``.
    """
    log.warning("there is no farm file yet: the pages ask for the farm", file=str(settings.farm))
    sessions = open_session_store(settings.state_dir / KEYRING, lambda: int(time.time()))
    with contextlib.closing(sessions):
        sockets = listen(settings.host, settings.port)
        _invite(settings, sessions)
        done = asyncio.run(_asking(settings, sessions, sockets))
    if not done:
        raise typer.Exit


def _invite(settings: Settings, sessions: SessionStore) -> None:
    """Print one link, and its code, that lets the owner's phone in."""
    token = sessions.make_link(User(_OWNER, Role.ADMINISTER), int(time.time()))
    address = f"{settings.address or own_address(settings)}/login/{token}"
    if not is_of_one_machine(urlsplit(address).hostname or ""):
        out.print(terminal_qr(address), markup=False)
    if not settings.contact:
        answer(
            say("Set WATCHER_CONTACT first: without it no feed may be asked and nothing starts.")
        )
    answer(say("There is no farm file yet. Open this once, within ten minutes:"))
    answer(address)


async def _asking(
    settings: Settings, sessions: SessionStore, sockets: Sequence[socket.socket]
) -> bool:
    """Serve the screens; returns whether the farm was written."""
    written, stop = asyncio.Event(), asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    clock, pushes = WallClock(), None
    if settings.contact:
        answers = Links(sessions.secret_for("push"), "")
        pushes = WebPush(sessions, sessions.secret, settings.contact, answers)
    visit = FirstVisit(
        FirstFarm(settings.state_dir / _KEPT, settings.farm),
        Authenticator(sessions, Users(settings.users, settings.programs), clock),
        lambda farm: problems(settings, farm).errors,
        written,
        address=settings.address,
        tokens=StationTokens(settings.station_tokens, sessions),
        tokens_in_settings=frozenset(settings.station_tokens),
        secrets=Secrets.of(settings, now=clock.now()),
        pushes=pushes,
        tiles=tiles_of(settings),
    )
    server = Server(create_first_visit(visit), proxies=networks(settings.proxies))
    systemd.notify("READY=1")
    async with asyncio.TaskGroup() as tasks:
        serving = tasks.create_task(server.serve(list(sockets)))
        alive = tasks.create_task(_alive())
        waiting = [asyncio.create_task(event.wait()) for event in (written, stop)]
        await asyncio.wait([*waiting, serving], return_when=asyncio.FIRST_COMPLETED)
        server.should_exit = True
        await asyncio.wait({serving})
        for task in (alive, *waiting):
            task.cancel()
    if written.is_set():
        log.info("the farm file is written", file=str(settings.farm))
        with contextlib.suppress(OSError):
            texts = FarmTexts.of_files(settings.farm)
            FarmVersions(settings.state_dir / VERSIONS).add(texts, by=visit.by, at=clock.now())
    return written.is_set()


async def _alive() -> None:
    while True:
        systemd.notify("WATCHDOG=1")
        await asyncio.sleep(systemd.watchdog_interval_s() or _ALIVE_EVERY_S)
