"""The farm in every key: a statement's rows are of the farm its session is of, and of no other.

Nothing that reads or writes names a farm. What a row is given when it is written stands here; that
a query sees no other farm's rows is the session's doing (``store.session``), and on PostgreSQL the
server's own too (``store.row_security``).
"""

from typing import Any

from sqlalchemy import Connection, Engine
from sqlalchemy.engine.default import DefaultExecutionContext

FARM = "farm"
"""Name of the execution option that says which farm a connection is of."""
ALONE = 1
"""The number of a farm that has its log to itself."""


def of_connection(connection: Connection | Engine) -> int:
    """Return the number of the farm a connection, or an engine's connections, are of."""
    farm: int = connection.get_execution_options()[FARM]
    return farm


def of_statement(context: DefaultExecutionContext) -> int:
    """Return the farm of a row that is written: the one its connection is of."""
    return of_connection(context.root_connection)


def next_number(context: Any) -> int:
    """Return the number of a row that is written: the one after its farm's highest.

    Nobody else numbers rows of the farm until the transaction ends: a SQLite writer is alone, and
    on PostgreSQL the farm's own row is held.
    """
    column, connection = context.current_column, context.root_connection
    given: dict[object, int] = vars(context).setdefault("numbers_given", {})
    if column not in given:  # later rows of one statement count on: the first is not written yet
        farm = of_connection(connection)
        if connection.dialect.name == "postgresql":
            hold(connection)
        highest = connection.exec_driver_sql(
            f"SELECT max({column.name}) FROM {column.table.name} WHERE farm = {farm:d}"  # noqa: S608
        ).scalar_one()
        given[column] = highest or 0
    given[column] += 1
    return given[column]


def hold(connection: Connection) -> None:
    """Hold a farm on PostgreSQL until the transaction ends: whoever else does so waits."""
    connection.exec_driver_sql(
        f"SELECT id FROM farm WHERE id = {of_connection(connection):d} FOR NO KEY UPDATE"  # noqa: S608
    )
