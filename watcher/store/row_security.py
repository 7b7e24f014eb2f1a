"""PostgreSQL's own wall between farms: of a farm's table a connection sees its farm's rows only.

The server holds it against every role that is no superuser; against the tables' owner only once
the log has a second farm (``store.farms``): till then there is nothing to keep apart, and the
owner's ordinary dumps stay whole.
"""

from collections.abc import Iterable

from sqlalchemy import DDL, Connection, FromClause, event

SETTING = "watcher.farm"
"""The server's name for the farm a transaction is of."""


def secure(tables: Iterable[FromClause]) -> None:
    """Have the wall made whenever one of the tables is."""
    for table in tables:
        for statement in wall(table.name):  # type: ignore[attr-defined]
            event.listen(table, "after_create", DDL(statement).execute_if(dialect="postgresql"))  # type: ignore[no-untyped-call]


def wall(table: str) -> tuple[str, str]:
    """Return what makes the wall around a table's rows."""
    return (
        f"CREATE POLICY own_farm ON {table} USING (farm = current_setting('{SETTING}')::integer)",
        f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY",
    )


def hold_owner_too(connection: Connection, tables: Iterable[str]) -> None:
    """Hold the tables' owner to the wall, too."""
    for table in tables:
        connection.exec_driver_sql(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")


def enter(connection: Connection, farm: int) -> None:
    """Let a transaction that begins be of a farm."""
    connection.exec_driver_sql(f"SELECT set_config('{SETTING}', '{farm:d}', true)")
