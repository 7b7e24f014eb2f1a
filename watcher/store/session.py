"""A session of one farm: whatever it is asked, it is asked of that farm's rows only."""

from functools import lru_cache
from weakref import WeakKeyDictionary

from sqlalchemy import Executable, TextClause, event
from sqlalchemy.orm import ORMExecuteState, Session, with_loader_criteria

from watcher.store.farm_key import of_connection
from watcher.store.tables import FarmTable

_MOST = 256
"""Farms whose statements are held ready at once."""


class FarmSession(Session):
    """A session whose every query and change is narrowed to the rows of its engine's farm."""


def farm_of(session: Session) -> int:
    """Return the number of the farm a session is of: the first part of every key."""
    return of_connection(session.get_bind())


@lru_cache(maxsize=_MOST)
def _only_rows_of(farm: int) -> "_OnlyRowsOf":
    return _OnlyRowsOf(farm)


class _OnlyRowsOf:
    """Adds a farm to statements; to one that is built once and asked for often, once."""

    def __init__(self, farm: int) -> None:
        self._criteria = with_loader_criteria(
            FarmTable, lambda table: table.farm == farm, include_aliases=True
        )
        self._narrowed: WeakKeyDictionary[Executable, Executable] = WeakKeyDictionary()

    def narrowed(self, statement: Executable) -> Executable:
        found = self._narrowed.get(statement)
        if found is None:
            found = self._narrowed[statement] = statement.options(self._criteria)
        return found


@event.listens_for(FarmSession, "do_orm_execute")
def _narrow(state: ORMExecuteState) -> None:
    """Add the farm to whatever a statement asks; refuse one that it cannot be added to."""
    if state.is_column_load or state.is_relationship_load or state.is_insert:
        return
    if state.is_orm_statement:
        state.statement = _only_rows_of(farm_of(state.session)).narrowed(state.statement)
    elif not isinstance(state.statement, TextClause):
        raise TypeError(f"ask for mapped classes: all farms' rows are seen by {state.statement}")
