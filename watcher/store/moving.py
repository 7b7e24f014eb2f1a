"""Jobs and records of a log as plain rows, out of one log and into an empty other one."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, func, insert, select, text
from sqlalchemy.orm import Session

from watcher.store.tables import Job, JobEvent, JobStep, RecordEntry, Table

Rows = Mapping[str, Sequence[Mapping[str, Any]]]
# In this order one refers to another.
_MOVED: tuple[type[Table], ...] = (Job, JobStep, JobEvent, RecordEntry)
MOVED = tuple(table.__tablename__ for table in _MOVED)
"""The names of the tables that move."""


def moved_out(session: Session) -> Rows:
    """Return every row of jobs and records, by table, in the order of their numbers."""
    found = {}
    for table in _MOVED:
        columns = list(table.__table__.columns)
        rows = session.execute(select(*columns).order_by(columns[0]))
        found[table.__tablename__] = [dict(row._mapping) for row in rows]
    return found


def moved_in(session: Session, rows: Rows) -> None:
    """Write rows that were moved out into a log that has none.

    Raises ``ValueError`` or ``TypeError`` for rows that are none of these tables'.
    """
    for table in _MOVED:
        columns = {column.name: column for column in table.__table__.columns}
        given = [dict(row) for row in rows[table.__tablename__]]
        for row in given:
            if set(row) != set(columns) or not all(_fits(columns[n], v) for n, v in row.items()):
                raise ValueError(f"a row of {table.__tablename__} does not fit")
        if given:
            session.execute(insert(table), given)
            _count_on(session, table)
    session.flush()


def _fits(column: ColumnElement[Any], value: object) -> bool:
    """Whether a column may hold a value: SQLite itself would take a text for a number."""
    if value is None:
        return bool(getattr(column, "nullable", False))
    kind = column.type.python_type
    if kind is float:
        return isinstance(value, int | float) and not isinstance(value, bool)
    return isinstance(value, kind) and not (kind is int and isinstance(value, bool))


def _count_on(session: Session, table: type[Table]) -> None:
    """Let a server count on from the highest number; SQLite does so by itself."""
    if session.get_bind().dialect.name == "postgresql" and table is not RecordEntry:
        highest = session.scalars(select(func.max(table.__table__.c.id))).one()
        counter = text("SELECT setval(pg_get_serial_sequence(:name, 'id'), :highest)")
        session.execute(counter, {"name": table.__tablename__, "highest": highest})
