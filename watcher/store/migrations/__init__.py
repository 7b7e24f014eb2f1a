"""The steps from each version of the tables to the next, run by Alembic."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, insert, inspect, text

from watcher.store.farm_key import ALONE
from watcher.store.tables import Farm, Table

if TYPE_CHECKING:
    from alembic.config import Config

HEAD = "0016"
"""The version this program works with; written down here so that a start needs no Alembic."""

_FOLDER = Path(__file__).parent


def version(connection: Connection) -> str | None:
    """Return the version of a log's tables, None when it has none yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return found


def knows(found: str) -> bool:
    """Return whether one of these steps leads to the version."""
    return any(_FOLDER.glob(f"versions/{found}_*.py"))


def create(connection: Connection) -> None:
    """Make the tables of ``HEAD`` in an empty log, as all the steps would.

    Alembic, which most logs never need again, is not even imported for it.
    """
    Table.metadata.create_all(connection)
    connection.execute(insert(Farm).values(id=ALONE, name="farm"))
    connection.execute(
        text(
            "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, "
            "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num))"
        )
    )
    connection.execute(text("INSERT INTO alembic_version VALUES (:head)"), {"head": HEAD})


def migrate(connection: Connection) -> None:
    """Bring the tables to ``HEAD`` inside the transaction the caller began."""
    from alembic import command  # noqa: PLC0415  # slow to import and needed once a version

    command.upgrade(config(connection), "head")


def config(connection: Connection) -> Config:
    """Return Alembic's settings for these steps on this connection."""
    from alembic.config import Config  # noqa: PLC0415

    settings = Config()
    settings.set_main_option("script_location", str(_FOLDER).replace("%", "%%"))
    settings.attributes["connection"] = connection
    return settings
