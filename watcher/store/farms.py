"""The farms that share a log, each with its number and its name."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from watcher.store import row_security
from watcher.store.tables import Farm, FarmTable


def all_farms(session: Session) -> list[Farm]:
    """Return the farms, by their numbers."""
    return list(session.scalars(select(Farm).order_by(Farm.id)))


def add(session: Session, name: str) -> int | None:
    """Add a farm; returns its number, None where the name is taken.

    On PostgreSQL the tables' owner, too, sees one farm's rows at a time from now on.
    """
    connection = session.connection()
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("LOCK TABLE farm IN EXCLUSIVE MODE")
    if session.scalars(select(Farm.id).where(Farm.name == name)).first() is not None:
        return None
    number = session.scalars(select(func.max(Farm.id))).one() + 1
    session.add(Farm(id=number, name=name))
    session.flush()
    if connection.dialect.name == "postgresql":
        row_security.hold_owner_too(
            connection, [table.__tablename__ for table in FarmTable.__subclasses__()]
        )
    return number
