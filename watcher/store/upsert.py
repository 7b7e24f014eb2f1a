"""INSERT … ON CONFLICT, spelt alike by both databases but built by two classes."""

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from itertools import repeat

from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import Session

from watcher.store.farm_key import of_connection
from watcher.store.tables import FarmTable, own_columns

Insert = postgresql.Insert


def insert_into(session: Session, table: type[FarmTable]) -> Insert:
    """Return an INSERT into the table that can say ``on_conflict_do_…`` on this log."""
    return _insert(session.get_bind().dialect.name, table)


def put_rows(
    session: Session,
    table: type[FarmTable],
    columns: Mapping[str, Sequence[object]],
    on_conflict: Callable[[Insert], Insert] | None = None,
) -> int:
    """Insert many rows, given as all of the table's own columns in the driver's own types.

    Returns how many rows that inserted or changed.

    By the driver's own executemany: SQLAlchemy would take twice as long over each row.
    """
    connection = session.connection()
    statement = _positional(connection.dialect.name, table, on_conflict)
    in_order = [columns[name] for name in own_columns(table)]
    rows = list(zip(repeat(of_connection(connection)), *in_order))
    return connection.exec_driver_sql(statement, rows).rowcount if rows else 0


def _insert(database: str, table: type[FarmTable]) -> Insert:
    if database == "postgresql":
        return postgresql.insert(table)
    # SQLite's class has the same two methods with the same arguments.
    return sqlite.insert(table)  # type: ignore[return-value]


@cache
def _positional(
    database: str, table: type[FarmTable], on_conflict: Callable[[Insert], Insert] | None
) -> str:
    """Return an INSERT whose parameters are the table's columns in their order."""
    insert = _insert(database, table)
    if on_conflict is not None:
        insert = on_conflict(insert)
    dialects: dict[str, Dialect] = {
        "postgresql": postgresql.psycopg.dialect(paramstyle="format"),  # type: ignore[no-untyped-call]
        "sqlite": sqlite.dialect(paramstyle="qmark"),
    }
    return str(insert.compile(dialect=dialects[database]))
