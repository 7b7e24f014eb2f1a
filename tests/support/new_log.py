"""A new log in a file. Its tables are laid out once a process: for a test that takes longest."""

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from watcher.store.database import Database


def new_log(path: Path, **options: Any) -> Database:
    """Return a log with its tables and nothing in them; ``options`` are those of ``Database``."""
    shutil.copyfile(_with_tables(), path)
    return Database(f"sqlite:///{path}", **options)


@cache
def _with_tables() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="tables-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    path = folder / "watch.db"
    log = Database(f"sqlite:///{path}", lasting=False)
    log.upgrade()
    log.close()
    return path
