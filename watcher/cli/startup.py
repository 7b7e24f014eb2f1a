"""What ``watcher run`` starts with, and what it tells the phone when it cannot start.

A service manager starts the watch again and again and reads nothing: a mistake that only stands in
its journal is a watch that is silent, which looks like a watch that has nothing to tell.
"""

import asyncio
import contextlib
import json
import os
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import NoReturn

import structlog

from watcher.cli.context import remark, stop
from watcher.delivery.channel import Channel, Outcome, UnusableUrlError
from watcher.farm import Farm
from watcher.farm.load import FarmFileError
from watcher.i18n.language import ENGLISH, Language, language, of_machine
from watcher.messages.forms import shape
from watcher.messages.watch import not_started
from watcher.service.kept_farm import KeptFarm, keep, kept, load_to_keep
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.settings import Settings, problems
from watcher.sources.body_reader import BodyReader
from watcher.sources.tiles import TileClient
from watcher.store.whole_files import write_whole

log = structlog.get_logger("watcher.cli")

VERSIONS = "farm-versions"
"""Folder of the state folder with every version of the farm."""
_KEPT_FARM = "farm-kept.json"
_TILES = "tiles.db"
_NOT_STARTED = "not-started.json"
_SENT_AGAIN_S = 12 * 3600


@dataclass(frozen=True)
class Start:
    """The farm to run with."""

    farm: Farm
    texts: Mapping[Path, str]
    """What its files say; nothing where an earlier farm is used."""
    instead: KeptFarm | None = None


def farm_to_run(settings: Settings) -> Start:
    """Load the farm, or the one of the last good start where its file has mistakes now.

    Where there is neither, say so and leave with the code for bad input.
    """
    machine = language(settings.language) if settings.language else of_machine(os.environ)
    try:
        farm, texts = load_to_keep(settings.farm, settings.state_dir / _KEPT_FARM)
    except FarmFileError as error:
        spoken = error.language or machine
        mistakes = tuple(problem.render(spoken) for problem in error.problems)
    else:
        spoken = farm.language
        mistakes = tuple(text.render(spoken) for text in problems(settings, farm).errors)
        if not mistakes:
            return Start(farm, texts)
    earlier = kept(settings.state_dir / _KEPT_FARM, mistakes)
    if earlier is None or problems(settings, earlier.farm).errors:
        refuse(settings, mistakes, spoken)
    remark("\n".join(mistakes))
    log.error(
        "the farm file has mistakes; an earlier farm is used until it is mended",
        of=earlier.checked_at,
        mistakes=mistakes,
    )
    return Start(earlier.farm, {}, earlier)


def has_kept_farm(settings: Settings) -> bool:
    """Return whether the farm of an earlier start is kept: its file is gone, not yet to come."""
    return kept(settings.state_dir / _KEPT_FARM, ()) is not None


def started(settings: Settings, start: Start) -> None:
    """Keep the farm of a good start, and forget what was sent about bad ones."""
    try:
        if start.texts:
            now = int(time.time())
            keep(settings.state_dir / _KEPT_FARM, settings.farm, start.texts, now)
        (settings.state_dir / _NOT_STARTED).unlink(missing_ok=True)
    except OSError as error:
        log.warning("the farm cannot be kept in the state folder", why=error.strerror)


def refuse(settings: Settings, mistakes: Sequence[str], spoken: Language = ENGLISH) -> NoReturn:
    """Say why the watch does not start, here and to the phones, and leave with the code for that.

    Phones hear it past the log, everyone whose URL can be used, and only where nobody sits before
    a terminal. The same is sent again after half a day, not at every attempt to start.
    """
    file, now = settings.state_dir / _NOT_STARTED, int(time.time())
    what = sha256("\n".join(mistakes).encode()).hexdigest()
    if not (sys.stderr.isatty() or _sent_lately(file, what, now)):
        reached = asyncio.run(_tell(settings, mistakes, spoken))
        if reached:
            log.error("the watch does not start", reached=reached)
            with contextlib.suppress(OSError):
                write_whole(file, json.dumps({"what": what, "at": now}))
    stop("\n".join(mistakes))


def _sent_lately(file: Path, what: str, now: int) -> bool:
    try:
        before = json.loads(file.read_bytes())
        return bool(before["what"] == what and 0 <= now - int(before["at"]) < _SENT_AGAIN_S)
    except (OSError, ValueError, KeyError, TypeError):
        return False


async def _tell(settings: Settings, mistakes: Sequence[str], spoken: Language) -> int:
    """Tell everyone once; returns how many were reached."""
    shaped = shape(not_started(mistakes), "push", spoken, ref="START")
    channels = []
    for name, url in Secrets.of(settings).all_of(SecretKind.PUSH).items():
        with contextlib.suppress(UnusableUrlError):
            channels.append(Channel(name, url.get_secret_value()))
    attempts = await asyncio.gather(
        *(channel.send(shaped.title, shaped.body, urgent=True) for channel in channels)
    )
    return sum(attempt.outcome is Outcome.SENT for attempt in attempts)


def tiles_of(settings: Settings, reader: BodyReader | None = None) -> TileClient | None:
    """Return what fetches pictures of the ground; None where none are set."""
    pictures = settings.pictures
    if pictures is None:
        return None
    cache = settings.state_dir / _TILES
    return TileClient(pictures, contact=settings.contact, cache=cache, reader=reader)
