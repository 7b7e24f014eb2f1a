"""Jobs and records of a log as plain rows, out of one log and into an empty other one."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, insert, select
from sqlalchemy.orm import Session

from watcher.store.tables import FarmTable, Job, JobEvent, JobStep, RecordEntry, own_columns

Rows = Mapping[str, Sequence[Mapping[str, Any]]]
# In this order one refers to another.
_MOVED: tuple[type[FarmTable], ...] = (Job, JobStep, JobEvent, RecordEntry)
MOVED = tuple(table.__tablename__ for table in _MOVED)
"""The names of the tables that move."""


def moved_out(session: Session) -> Rows:
    """Return every row of jobs and records, by table, in the order of their numbers."""
    found = {}
    for table in _MOVED:
        columns = [getattr(table, name) for name in own_columns(table)]
        rows = session.execute(select(*columns).order_by(columns[0]))
        found[table.__tablename__] = [dict(row._mapping) for row in rows]
    return found


def moved_in(session: Session, rows: Rows) -> None:
    """Write rows that were moved out into a log that has none.

    Raises ``ValueError`` or ``TypeError`` for rows that are none of these tables'.
    """
    for table in _MOVED:
        columns = {name: table.__table__.columns[name] for name in own_columns(table)}
        given = [dict(row) for row in rows[table.__tablename__]]
        for row in given:
            if set(row) != set(columns) or not all(_fits(columns[n], v) for n, v in row.items()):
                raise ValueError(f"a row of {table.__tablename__} does not fit")
        if given:
            session.execute(insert(table), given)
    session.flush()


def _fits(column: ColumnElement[Any], value: object) -> bool:
    """Whether a column may hold a value: SQLite itself would take a text for a number."""
    if value is None:
        return bool(getattr(column, "nullable", False))
    kind = column.type.python_type
    if kind is float:
        return isinstance(value, int | float) and not isinstance(value, bool)
    return isinstance(value, kind) and not (kind is int and isinstance(value, bool))
