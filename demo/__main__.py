"""``python -m demo``: play the day, then say what it left."""

import argparse
import asyncio
import os
import sys
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from demo.loopback import HOST
from demo.phone import Push
from demo.play import FARM, play
from demo.screen import Screen
from watcher.service import logs
from watcher.store.database import Database

_OPENING = (
    "A day on a farm, played fast. INVENTED: no farm, field, person, label or weather in it "
    "exists. The service is the real one: a simulated station posts to it over HTTP, it asks a "
    "simulated feed, and its messages arrive on two simulated phones. Nothing leaves this machine."
)
_CLOSING = """
The day took {took_s:.0f} s. Messages: {got}. Service, station, feed and phones have stopped.
The log of the day is left in {database}. Look at it with
"""
_LOOK_WITH = (
    """{python} -c "import sqlite3; print(*sqlite3.connect('{database}').execute('''"""
    """select datetime(at, 'unixepoch'), field, status from status_change'''), sep='\\n')\"""",
    "WATCHER_FARM={farm} WATCHER_DATABASE_URL=sqlite:///{whole} {watcher} log export "
    "--from 2026-06-12T10:00 --to 2026-06-12T10:30",
)


def main() -> None:
    """Play the day from dawn to the evening."""
    found = _arguments()
    for end in ("", "-wal", "-shm"):
        found.database.with_name(found.database.name + end).unlink(missing_ok=True)
    os.environ["NO_PROXY"] = HOST  # nor may the pushes leave through a proxy
    logs.set_up("text", "warning")
    screen, began = Screen(), time.monotonic()
    screen.note(_OPENING)
    try:
        with closing(Database(f"sqlite:///{found.database.absolute()}")) as log:
            log.upgrade()
            pushes = asyncio.run(play(log, screen, found.seconds))
    except (KeyboardInterrupt, asyncio.CancelledError):
        sys.exit("Interrupted; everything that was started has been stopped.")
    _close(pushes, found.database, time.monotonic() - began)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m demo", description=_OPENING)
    parser.add_argument("--seconds", type=float, default=40.0, help="how long the day takes")
    default = _here(Path(__file__).with_name("day.db"))
    parser.add_argument("--database", type=Path, default=default, help="its log, made anew")
    return parser.parse_args()


def _close(pushes: Sequence[Push], database: Path, took_s: float) -> None:
    """Say what came of it. Printed as it stands, so that the commands can be copied."""
    received = Counter(push.to for push in pushes)
    got = ", ".join(f"{who} {count}" for who, count in received.items())
    print(_CLOSING.format(took_s=took_s, got=got, database=database))
    python = Path(sys.executable)
    for command in _LOOK_WITH:
        filled = command.format(
            python=_here(python),
            watcher=_here(python.with_name("watcher")),
            farm=_here(FARM),
            database=database,
            whole=database.absolute(),
        )
        print(f"  {filled}\n")


def _here(path: Path) -> Path:
    """Return a path from the working folder on, where it lies in it."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_relative_to(here) else path


if __name__ == "__main__":
    main()
