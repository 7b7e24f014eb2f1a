"""What every command opens first: settings, farm, log. A problem is one clear text and exit 2."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

import typer
from rich.console import Console
from rich.table import Table
from sqlalchemy import make_url

from watcher.cli.language import in_words, speak, spoken
from watcher.farm import Farm
from watcher.farm.load import FarmFileError, load
from watcher.i18n.language import language
from watcher.i18n.message import Param, say
from watcher.settings import Settings, SettingsError, read_settings
from watcher.store.database import Database
from watcher.store.errors import LogError

out = Console(highlight=False, soft_wrap=True)
err = Console(stderr=True, highlight=False, soft_wrap=True)
BAD_INPUT = 2


def answer(text: Param) -> None:
    """Print a text as it stands: no markup is read."""
    out.print(in_words(text), markup=False)


def remark(text: Param) -> None:
    """Print a text beside the answer, on standard error."""
    err.print(in_words(text), markup=False)


def table_of(*head: Param, title: Param | None = None) -> Table:
    """Return a table with these headings."""
    named = None if title is None else in_words(title)
    return Table(*map(in_words, head), title=named)


def stop(text: Param) -> NoReturn:
    """Say what is wrong and leave with the code for bad input."""
    remark(text)
    raise typer.Exit(BAD_INPUT)


def open_settings() -> Settings:
    """Read the settings, or stop."""
    try:
        settings = read_settings()
    except SettingsError as error:
        stop(error.render(spoken()))
    if settings.language:
        speak(language(settings.language))
    return settings


def open_farm(path: Path) -> Farm:
    """Load and check the farm file, or stop with everything that is wrong with it."""
    try:
        farm = load(path)
    except FarmFileError as error:
        stop(error.render(error.language or spoken()))
    speak(farm.language)
    return farm


def has_log(settings: Settings) -> bool:
    """Return whether there is a log: a file of it, or a server it is on."""
    url = make_url(settings.database_url)
    return not url.drivername.startswith("sqlite") or Path(url.database or "").is_file()


@contextmanager
def open_log(settings: Settings) -> Iterator[Database]:
    """Open the log with its tables up to date, or stop; close it afterwards."""
    try:
        log = Database(settings.database_url, farm=settings.farm_number)
        log.upgrade()
    except LogError as error:
        stop(str(error))
    try:
        yield log
    except LogError as error:
        stop(str(error))
    finally:
        log.close()


@contextmanager
def writing(file: Path) -> Iterator[None]:
    """Write a file the user named, or stop where that cannot be."""
    try:
        yield
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else str(error)
        stop(
            say(
                "{file} cannot be written ({why}); name another with --output",
                file=str(file),
                why=why,
            )
        )
