"""``watcher run`` and ``watcher test-alert``: the service, and whether its messages arrive."""

import asyncio
from typing import Annotated

import typer

from watcher.alerts.acknowledgement import Links
from watcher.alerts.channel import Channel, Outcome, UnusableUrlError
from watcher.alerts.courier import Courier
from watcher.alerts.heartbeat import Heartbeat
from watcher.alerts.wording.words import CAUTION
from watcher.cli.door import KEYRING
from watcher.cli.opening import open_farm, open_log, open_settings, out, stop
from watcher.farm import Farm
from watcher.judge.plan import Plan
from watcher.service import logs
from watcher.service.clock import WallClock
from watcher.service.cycle import Book
from watcher.service.stations import speaks_by_itself
from watcher.service.watch import Watch
from watcher.service.wiring import polled_sources
from watcher.settings import Settings, problems
from watcher.sources.base import StreamedSource
from watcher.sources.http import FeedClient
from watcher.store.database import Log
from watcher.web.access import Access
from watcher.web.app import Keys, create_app
from watcher.web.keyring import Keyring
from watcher.web.server import serve


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("run")(run)
    app.command("test-alert")(test_alert)


def run() -> None:
    """Run the watch until it is told to stop."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    found = problems(settings, farm)
    if found.errors:
        stop("\n".join(found.errors))
    logs.set_up(settings.log_format, settings.log_level)
    with open_log(settings) as log:
        try:
            asyncio.run(_run(settings, farm, log))
        except UnusableUrlError as error:
            stop(str(error))


async def _run(settings: Settings, farm: Farm, log: Log) -> None:
    clock = WallClock()
    keyring = Keyring(settings.state_dir / KEYRING)
    links = None
    if settings.address:
        links = Links(keyring.secret_for("seen"), f"{settings.address}/seen")
    book = Book(Plan.of(farm), log, clock, keep_raw_s=settings.keep_raw, links=links)
    keys = Keys(
        keyring,
        settings.station_tokens,
        Access(settings.users, settings.programs),
        links,
        settings.contact,
    )
    courier = Courier(log, farm, settings.push_urls, now=clock.now)
    client = FeedClient(contact=settings.contact, cache=settings.state_dir / "feeds.db")
    async with client:
        url = settings.heartbeat_url
        heartbeat = None if url is None else Heartbeat(url)
        sources = polled_sources(farm, client, settings.api_keys)
        streams: dict[str, StreamedSource] = {}
        if speaks_by_itself(farm):
            from watcher.service.streams import streamed_sources  # noqa: PLC0415 - see there

            streams = streamed_sources(farm, clock.now, settings.broker_passwords)
        watch = Watch(book, sources, courier, heartbeat, streams)
        app = create_app(watch, keys)
        await serve(watch, app, host=settings.host, port=settings.port)


def test_alert(
    recipient: Annotated[str, typer.Argument(help="A recipient's name in the farm file.")],
) -> None:
    """Send one recipient a test message, and say whether it was taken."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    url = settings.push_urls.get(recipient)
    if recipient not in farm.told.recipients or url is None:
        known = [name for name in farm.told.recipients if name in settings.push_urls]
        stop(
            f"no recipient {recipient!r} with a push URL in the settings; "
            f"there are: {', '.join(known) or 'none'}"
        )
    try:
        channel = Channel(recipient, url.get_secret_value())
    except UnusableUrlError as error:
        stop(str(error))
    body = f"A test: messages of the weather watch arrive here. {CAUTION}"
    attempt = asyncio.run(channel.send("Test of the weather watch", body, urgent=False))
    if attempt.outcome is not Outcome.SENT:
        stop(f"the message to {recipient} was not taken: {attempt.why}")
    out.print(f"The message to {recipient} was taken.", markup=False)
