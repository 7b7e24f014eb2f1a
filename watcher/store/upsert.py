"""INSERT … ON CONFLICT, spelt alike by both databases but built by two classes."""

from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from watcher.store.tables import Table


def insert_into(session: Session, table: type[Table]) -> postgresql.Insert:
    """Return an INSERT into the table that can say ``on_conflict_do_…`` on this database."""
    if session.get_bind().dialect.name == "postgresql":
        return postgresql.insert(table)
    # SQLite's class has the same two methods with the same arguments.
    return sqlite.insert(table)  # type: ignore[return-value]
