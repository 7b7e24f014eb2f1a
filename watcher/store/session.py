"""A session of one farm: whatever it is asked, it is asked of that farm's rows only."""

from typing import Any
from weakref import WeakKeyDictionary

from sqlalchemy import Connection, Engine, Executable, TextClause, event
from sqlalchemy.orm import ORMExecuteState, Session, with_loader_criteria

from watcher.store.farm_key import FARM
from watcher.store.tables import FarmTable

_ONLY = "only rows of the farm"


class FarmSession(Session):
    """A session whose every query and change is narrowed to the rows of one farm."""

    def __init__(self, engine: Engine | Connection, *, info: dict[Any, Any]) -> None:
        super().__init__(engine, expire_on_commit=False, info=info)


def of_farm(farm: int) -> dict[Any, Any]:
    """Return what all sessions of a farm are given, to know it by."""
    return {FARM: farm, _ONLY: _OnlyRowsOf(farm)}


def farm_of(session: Session) -> int:
    """Return the number of the farm a session is of: the first part of every key."""
    farm: int = session.info[FARM]
    return farm


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
        state.statement = state.session.info[_ONLY].narrowed(state.statement)
    elif not isinstance(state.statement, TextClause):
        raise TypeError(f"ask for mapped classes: all farms' rows are seen by {state.statement}")
