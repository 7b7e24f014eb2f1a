"""Farms that share a log: added, listed, each with a number of its own."""

from watcher.store import farms
from watcher.store.database import Database


def test_a_new_log_has_one_farm(log: Database) -> None:
    with log.reading() as session:
        assert [(farm.id, farm.name) for farm in farms.all_farms(session)] == [(1, "farm")]


def test_farms_are_numbered_as_they_come(log: Database) -> None:
    with log.writing() as session:
        assert [farms.add(session, name) for name in ("north", "south")] == [2, 3]
    with log.reading() as session:
        assert [farm.name for farm in farms.all_farms(session)] == ["farm", "north", "south"]


def test_a_name_is_given_once(log: Database) -> None:
    with log.writing() as session:
        assert farms.add(session, "north") == 2
        assert farms.add(session, "north") is None
        assert len(farms.all_farms(session)) == 2
