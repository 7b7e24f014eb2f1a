"""Several farms on one log: added, and counted. Each is watched by a process of its own."""

import re

from watcher.i18n.message import Message, say
from watcher.store import farms
from watcher.store.database import Database

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")


class FleetError(Exception):
    """A farm cannot be added; ``text`` says why, and what to do."""

    def __init__(self, text: Message) -> None:
        super().__init__(str(text))
        self.text = text


def add_farm(log: Database, name: str) -> int:
    """Add a farm to a log on a server; returns its number. Raises ``FleetError``, ``LogError``."""
    if not _NAME.fullmatch(name):
        raise FleetError(
            say(
                "{name} cannot be a farm's name: write up to 63 small letters, digits, - and _",
                name=name,
            )
        )
    if log.file is not None:
        raise FleetError(
            say(
                "a log in a file holds one farm; give each farm a state folder of its own "
                "(WATCHER_STATE_DIR), or keep the log on PostgreSQL (WATCHER_DATABASE_URL)"
            )
        )
    with log.writing() as session:
        number = farms.add(session, name)
    if number is None:
        raise FleetError(say("the log has a farm {name} already; choose another name", name=name))
    return number


def farms_of(log: Database) -> list[tuple[int, str]]:
    """Return number and name of every farm that shares a log. Raises ``LogError``."""
    with log.reading() as session:
        return [(farm.id, farm.name) for farm in farms.all_farms(session)]
