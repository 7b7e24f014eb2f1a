"""What every command opens first: settings, farm, log. A problem is one clear text and exit 2."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

import typer
from rich.console import Console

from watcher.farm import Farm
from watcher.farm.load import FarmFileError, load
from watcher.settings import Settings, SettingsError, read_settings
from watcher.store.database import Log
from watcher.store.errors import LogError

out = Console(highlight=False, soft_wrap=True)
err = Console(stderr=True, highlight=False, soft_wrap=True)
BAD_INPUT = 2


def stop(text: str) -> NoReturn:
    """Say what is wrong and leave with the code for bad input. Plain text: no markup is read."""
    err.print(text, markup=False)
    raise typer.Exit(BAD_INPUT)


def open_settings() -> Settings:
    """Read the settings, or stop."""
    try:
        return read_settings()
    except SettingsError as error:
        stop(str(error))


def open_farm(path: Path) -> Farm:
    """Load and check the farm file, or stop with everything that is wrong with it."""
    try:
        return load(path)
    except FarmFileError as error:
        stop(str(error))


@contextmanager
def open_log(settings: Settings) -> Iterator[Log]:
    """Open the log with its tables up to date, or stop; close it afterwards."""
    try:
        log = Log(settings.database_url)
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
        stop(f"{file} cannot be written ({why}); name another with --output")
