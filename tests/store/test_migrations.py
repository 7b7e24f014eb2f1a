"""The tables the migrations make are the tables the program works with."""

from collections.abc import Callable
from dataclasses import fields

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, text

from watcher.store import migrations
from watcher.store.database import Log
from watcher.store.errors import LogNewerError
from watcher.store.rows import SITE_COLUMNS
from watcher.store.tables import ForecastHour, Observation, Table
from watcher.weather.series import QUANTITIES, Site

# What alembic does not compare, each database's own account of it.
_ACCOUNTS = {
    "sqlite": "SELECT name, sql FROM sqlite_master WHERE name NOT LIKE '%alembic%' ORDER BY name",
    "postgresql": "SELECT c.relname, k.conname, pg_get_constraintdef(k.oid) "
    "FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid "
    "WHERE k.connamespace = 'public'::regnamespace "
    "AND c.relname <> 'alembic_version' ORDER BY 1, 2",
}


def _account(connection: Connection) -> list[tuple[str, ...]]:
    rows = connection.execute(text(_ACCOUNTS[connection.dialect.name]))
    # Words in any order: SQLite keeps the text of each CREATE with its line ends.
    return [tuple(" ".join(str(cell).split()) for cell in row) for row in rows]


def test_migrations_make_the_tables_of_the_models(log: Log) -> None:
    with log.reading() as session:
        context = MigrationContext.configure(session.connection(), opts={"compare_type": True})
        assert compare_metadata(context, Table.metadata) == []


def test_migrations_make_the_same_constraints_as_the_models(log: Log) -> None:
    with log.writing() as session:
        connection = session.connection()
        by_migrations = _account(connection)
        Table.metadata.drop_all(connection)
        Table.metadata.create_all(connection)
        by_models = _account(connection)
    assert len(by_models) > 10
    assert by_migrations == by_models


def test_upgrading_twice_changes_nothing(log: Log) -> None:
    with log.reading() as session:
        before = _account(session.connection())
    log.upgrade()
    with log.reading() as session:
        assert _account(session.connection()) == before


def test_an_upgraded_log_is_opened_without_alembic(
    log: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_: Connection) -> None:
        raise AssertionError("nothing was to be migrated")

    monkeypatch.setattr(migrations, "migrate", refuse)
    log.upgrade()


def test_the_version_written_down_is_the_newest_step(log: Log) -> None:
    with log.reading() as session:
        connection = session.connection()
        steps = ScriptDirectory.from_config(migrations.config(connection))
        assert steps.get_current_head() == migrations.HEAD
        assert all(migrations.knows(step.revision) for step in steps.walk_revisions())
        assert migrations.version(connection) == migrations.HEAD


def test_a_log_of_a_newer_program_is_refused_and_left_alone(log: Log) -> None:
    with log.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(LogNewerError, match=r"newer version of this program .*9999"):
        log.upgrade()
    with log.reading() as session:
        assert migrations.version(session.connection()) == "9999"


def test_an_upgrade_that_fails_half_way_leaves_nothing(
    empty_url: str, open_log: Callable[..., Log], monkeypatch: pytest.MonkeyPatch
) -> None:
    log = open_log(empty_url)
    whole = migrations.migrate

    def half(connection: Connection) -> None:
        whole(connection)
        raise RuntimeError("the power went")

    monkeypatch.setattr(migrations, "migrate", half)
    with pytest.raises(RuntimeError, match="the power went"):
        log.upgrade()
    with log.reading() as session:
        assert migrations.version(session.connection()) is None
        assert _account(session.connection()) == []
    monkeypatch.undo()
    log.upgrade()
    with log.reading() as session:
        assert migrations.version(session.connection()) == migrations.HEAD


def test_every_quantity_has_a_column_in_observations_and_forecasts() -> None:
    own = {
        Observation: {"source", "time", "flags", "received_at"},
        ForecastHour: {"forecast_id", "time"},
    }
    for table, others in own.items():
        assert set(table.__table__.columns.keys()) - others == set(QUANTITIES)


def test_every_property_of_a_site_has_a_column() -> None:
    assert set(SITE_COLUMNS) == {field.name for field in fields(Site)}
